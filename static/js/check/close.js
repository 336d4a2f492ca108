// Closes the check: what still wilts is listed first, the queue is emptied, and what comes then is the page's.
import { newUuid } from "./ids.js";

const at = (id) => document.getElementById(id);

export class Closing {
  // onClose() makes the last marks and returns what else the closing says; onClosed, onRefused(reason): the answer.
  // onNothing(): nothing was seen, so there is nothing to close.
  constructor({ book, queue, onClose, onClosed, onRefused, onNothing }) {
    Object.assign(this, { book, queue, onClose, onClosed, onRefused, onNothing });
    this.uuid = null;
    this.dialog = at("check-still");
    at("check-close").addEventListener("click", () => this.#ask());
    at("check-close-still").addEventListener("click", () => {
      this.dialog.close();
      this.#close();
    });
    queue.addEventListener("answer", ({ detail }) => this.#answered(detail));
  }

  get isUnderWay() {
    return this.uuid !== null;
  }

  #ask() {
    if (this.book.seesNothing()) return this.onNothing();
    const wilting = this.book.stillWilting();
    if (!wilting.length) return this.#close();
    at("check-still-cells").textContent = wilting.map((cell) => cell.name).join(", ");
    this.dialog.showModal();
  }

  #close() {
    if (this.isUnderWay) return;
    this.#show(newUuid());
    const more = this.onClose();
    const { check, worker } = this.book;
    const closing = { uuid: this.uuid, check: check.uuid, kind: "close", replaces: [], reason: "", worker };
    this.queue.close({ ...closing, known: this.book.knownMarks(), at: new Date().toISOString(), ...more });
  }

  #answered({ uuid, status, reason }) {
    if (uuid !== this.uuid) return;
    if (status !== "refused") return this.onClosed();
    this.#show(null);
    this.onRefused(reason);
  }

  #show(uuid) {
    this.uuid = uuid;
    at("check-close").disabled = uuid !== null;
    at("check-close").setAttribute("aria-busy", String(uuid !== null));
  }
}
