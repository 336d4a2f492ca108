// Closes the check: what still wilts is listed first, and what comes then is the page's.
const at = (id) => document.getElementById(id);
const BOUNCE_MS = 700; // a wet finger may touch twice: the flat that has just come must not be closed by it

export class Closing {
  // onClose(): close it now. onNothing(): nothing was seen, so there is nothing to close.
  constructor({ onClose, onNothing }) {
    Object.assign(this, { onClose, onNothing });
    this.openedAt = -BOUNCE_MS;
    this.dialog = at("check-still");
    at("check-close").addEventListener("click", () => this.ask());
    at("check-close-still").addEventListener("click", () => {
      this.dialog.close();
      this.onClose();
    });
  }

  // Another flat.
  open(book, isNext) {
    Object.assign(this, { book, openedAt: isNext ? performance.now() : -BOUNCE_MS });
    this.busy(false);
  }

  get isBusy() {
    return at("check-close").disabled;
  }

  ask() {
    if (this.isBusy || this.dialog.open || performance.now() - this.openedAt < BOUNCE_MS) return;
    if (this.book.seesNothing()) return this.onNothing();
    const wilting = this.book.stillWilting();
    if (!wilting.length) return this.onClose();
    at("check-still-cells").textContent = wilting.map((cell) => cell.name).join(", ");
    this.dialog.showModal();
  }

  busy(isBusy) {
    at("check-close").disabled = isBusy;
    at("check-close").setAttribute("aria-busy", String(isBusy));
  }
}
