// Asks every few seconds how the flat at hand stands, so that what another tablet marks is seen here.
import { ask } from "../tablet/ask.js";

const EVERY_MS = 3000;

export class Follow {
  // onSheet(sheet, askedAt): the flat is different from what was known.
  constructor({ store, url, onSheet }) {
    Object.assign(this, { store, url, onSheet });
    this.code = "";
    this.isAsking = false;
    setInterval(() => this.#ask(), EVERY_MS);
    document.addEventListener("visibilitychange", () => this.#ask());
  }

  // goesOn: the check that was opened again, whatever its day.
  watch({ code, tag }, goesOn = "") {
    Object.assign(this, { code, tag, goesOn });
    this.#ask();
  }

  async #ask() {
    if (!this.code || this.isAsking || document.visibilityState !== "visible") return;
    this.isAsking = true;
    try {
      const { code, goesOn } = this;
      const askedAt = Date.now();
      const token = (await this.store.get("token").catch(() => "")) ?? "";
      const query = goesOn ? `?goes_on=${goesOn}` : "";
      const { status, data } = await ask(`${this.url}/${code}${query}`, { token, tag: this.tag });
      const sheet = status === 200 ? data.flats?.[0] : null;
      if (!sheet || code !== this.code || sheet.tag === this.tag) return;
      this.tag = sheet.tag;
      await this.onSheet(sheet, askedAt);
    } finally {
      this.isAsking = false;
    }
  }
}
