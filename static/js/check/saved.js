// The small line beside the main action: whether what was marked is on the server, and what stands in the way.
import { fill } from "./paint.js";

const SOON_MS = 60;

export class SavedLine {
  constructor({ store, sender, words }) {
    Object.assign(this, { store, sender, words });
    this.line = document.getElementById("check-saved");
    [this.text, this.login] = this.line.children;
    this.keeping = 0; // acts that are being kept on this tablet
    this.isLost = false; // something could not be kept on this tablet
    this.closes = false; // the check is closed here, and the server has not heard of it
    for (const source of [store, sender]) source.addEventListener("change", () => this.#soon());
    this.show();
  }

  // Something was said and is not kept yet.
  keeps() {
    this.keeping += 1;
    this.line.dataset.waits = "some";
    this.#soon();
  }

  // It is kept; or it could not be kept here, and the server did not take it at once either.
  kept(isKept) {
    this.keeping -= 1;
    this.isLost = !isKept;
    this.#soon();
  }

  // One look for many changes: after each tap there are several.
  #soon() {
    this.timer ??= setTimeout(() => {
      this.timer = null;
      this.show();
    }, SOON_MS);
  }

  async show() {
    const { all, marks } = await this.store.countWaiting().catch(() => ({ all: 0, marks: 0 }));
    const { trouble } = this.sender;
    const needsLogin = trouble === "login" && all > 0 && !this.isLost;
    this.login.hidden = !needsLogin;
    this.text.hidden = needsLogin;
    this.line.toggleAttribute("data-trouble", this.isLost || (trouble !== "" && all > 0));
    this.line.dataset.waits = this.keeping ? "some" : String(all);
    const now = this.#said(all, marks, trouble);
    if (this.text.textContent !== now) this.text.textContent = now;
  }

  #said(all, marks, trouble) {
    const { words } = this;
    if (this.isLost) return words.notKept;
    if (this.keeping) return words.keeping;
    if (!all) return words.saved;
    if (["forbidden", "malformed", "full"].includes(trouble)) return words[trouble];
    if (marks) return marks === 1 ? words.unsentOne : fill(words.unsentMany, { n: marks });
    return trouble || !this.closes ? words.waits : words.closing;
  }
}
