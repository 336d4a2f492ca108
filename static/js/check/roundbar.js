// The round on the check's page: how far it is, which flats are in it, and what is there without a flat.
import { spoken } from "../codes.js";
import { stayAwake } from "./awake.js";
import { fill } from "./paint.js";

const at = (id) => document.getElementById(id);

export class RoundBar {
  // onOpen(code): a flat was chosen. onSkip(): the one at hand is left for later. onCode(text): a code was typed.
  // onEnd(): the round is ended as it stands.
  constructor({ words, onOpen, onSkip, onCode, onEnd }) {
    Object.assign(this, { words, onOpen, round: null, isAwake: false });
    this.dialog = at("round-list");
    this.title = at("round-list-title").textContent;
    at("round-all").addEventListener("click", () => this.list());
    at("round-skip").addEventListener("click", onSkip);
    at("round-end").addEventListener("click", () => {
      this.dialog.close();
      onEnd();
    });
    at("round-code").addEventListener("submit", (event) => {
      event.preventDefault();
      onCode(new FormData(event.target).get("code"));
    });
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-opens-flat]");
      if (!button) return;
      this.dialog.close();
      onOpen(button.dataset.opensFlat);
    });
  }

  show(round, code) {
    Object.assign(this, { round, code });
    document.body.dataset.check = "flat";
    at("check-flat").hidden = false;
    at("check-none").hidden = true;
    at("check-round").hidden = round === null;
    at("round-skip").hidden = round === null || round.isClosed(code);
    at("round-end").hidden = round === null;
    this.#showPages();
    for (const name of at("check-close").children) name.hidden = name.dataset.in !== (round ? "round" : "flat");
    if (this.dialog.open) this.dialog.close();
    if (!round) return;
    if (!this.isAwake) stayAwake();
    this.isAwake = true;
    at("round-bar").max = round.size;
    at("round-bar").value = round.closed;
    const fit = { n: round.data.codes.indexOf(code) + 1, of: round.size, closed: round.closed };
    at("round-said").textContent = fill(this.words.roundAt, fit);
  }

  // Whether this page would open without network: said where it would not.
  async #showPages() {
    const isKept = "caches" in self && Boolean(await caches.match("/check").catch(() => null));
    at("round-pages").hidden = this.round === null || isKept;
  }

  // All flats of the round, and a field for a code.
  list() {
    at("round-list-title").textContent = this.round?.data.title || this.title;
    at("round-flats").replaceChildren(...(this.round?.data.codes ?? []).map((code) => this.#line(code)));
    this.say("");
    if (!this.dialog.open) this.dialog.showModal();
    const here = at("round-flats").querySelector("[aria-current]");
    here?.scrollIntoView({ block: "center" });
    here?.focus({ preventScroll: true }); // not the field: that would bring the keyboard up
  }

  // What became of a code; kept where it was typed or scanned.
  say(text) {
    for (const place of document.querySelectorAll("[data-code-said]")) place.textContent = text;
  }

  #line(code) {
    const item = document.createElement("li");
    const button = document.createElement("button");
    const name = document.createElement("strong");
    name.className = "code";
    name.textContent = spoken(code);
    button.type = "button";
    button.dataset.opensFlat = code;
    const state = document.createElement("span");
    state.textContent = this.#state(code);
    if (this.round.isClosed(code)) button.dataset.roundState = "closed";
    button.append(name, state);
    if (code === this.code) button.setAttribute("aria-current", "true");
    item.append(button);
    return item;
  }

  #state(code) {
    const { words, round } = this;
    const closed = round.data.done[code];
    if (closed) return fill(words.flatClosed, closed);
    if (code === this.code) return words.flatAtHand;
    return round.isSkipped(code) ? words.flatSkipped : words.flatOpen;
  }

  finished(round) {
    const { words } = this;
    const { dead, flats } = round.found();
    const isWhole = round.closed === round.size;
    const said = dead ? words.roundFound : words.roundNone;
    const text = fill(isWhole ? said : words.roundEnded, { of: round.size, closed: round.closed, dead, flats });
    this.#without(isWhole ? words.roundDone : words.roundOver, text);
  }

  // No flat is at hand: say what this tablet has.
  async nowhere(store) {
    const codes = await store.codes().catch(() => []);
    this.#without(this.words.noRound, codes.length ? this.words.flatsHere : this.words.nothingHere);
    at("check-kept").replaceChildren(...codes.slice(0, 400).map((code) => this.#kept(code)));
  }

  #kept(code) {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.className = "code";
    button.type = "button";
    button.dataset.opensFlat = code;
    button.textContent = spoken(code);
    item.append(button);
    return item;
  }

  #without(title, text) {
    at("check-none-title").textContent = title;
    at("check-none-text").textContent = text;
    at("check-kept").replaceChildren();
    at("check-flat").hidden = true;
    at("check-round").hidden = true;
    at("check-none").hidden = false;
    document.body.dataset.check = "none";
    at("check-code").textContent = title;
    at("check-what").textContent = "";
    at("check-count").replaceChildren();
    document.title = title;
  }
}
