// The line under the flat: what just happened, the cause of it, and what to do where a tap is not enough.
import { fill } from "./paint.js";

const at = (id) => document.getElementById(id);

export class Line {
  // onCause(cells, cause): these cells got a cause; onWhole(cause): the check did; onSettle(cell, state): a
  // disagreement was settled; onCorrect(cell): somebody says an earlier check was wrong.
  constructor({ words, onCause, onWhole, onSettle, onCorrect }) {
    Object.assign(this, { words, onCause, onWhole, onSettle, onCorrect });
    this.cells = []; // whose cause the chips set
    this.cell = null; // whom the note is about
    this.isWhole = false;
    this.wholeCause = "";
    this.wholeName = at("check-whole").textContent;
    this.chips = [...document.querySelectorAll("#check-causes [data-cause]")];
    at("check-causes").addEventListener("click", (event) => this.#choose(event.target.closest("[data-cause]")));
    at("check-whole").addEventListener("click", () => this.#toggleWhole());
    at("check-settle").addEventListener("click", (event) => {
      const button = event.target.closest("[data-settle]");
      if (button) this.onSettle(this.cell, button.dataset.settle);
    });
    at("check-correct").addEventListener("click", () => this.onCorrect(this.cell));
  }

  // Nothing to say: the hint, until the first tap.
  rest() {
    this.cells = [];
    this.#show({});
  }

  say(text, { cell = null, settles = false, corrects = false, chooses = false } = {}) {
    this.cell = cell;
    this.cells = [];
    at("check-note").textContent = text;
    this.#show({ note: true, settles, corrects, chooses });
  }

  // After a tap: the cause of what was marked, where there is something to explain.
  offerCauses(cells) {
    this.cells = cells.filter((cell) => cell.stated && (cell.state === "dead" || cell.state === "wilting"));
    if (!this.cells.length) return this.rest();
    const [{ name, cause }] = this.cells;
    const many = this.cells.length > 1;
    this.#chipsFor(fill(many ? this.words.causeOfMany : this.words.causeOf, { cell: name, n: this.cells.length }), cause);
  }

  // A cause in words; "" for none, or for one that no chip names.
  nameOf(cause) {
    return this.chips.find((chip) => chip.dataset.cause === cause)?.textContent ?? "";
  }

  setWhole(cause) {
    this.wholeCause = cause;
    const name = this.nameOf(cause);
    at("check-whole").textContent = name ? `${this.wholeName}: ${name}` : this.wholeName;
    at("check-whole").setAttribute("aria-pressed", String(name !== ""));
  }

  #toggleWhole() {
    if (this.isWhole) return this.rest();
    this.cells = [];
    this.#chipsFor(this.words.causeOfAll, this.wholeCause);
    this.isWhole = true;
  }

  #choose(chip) {
    if (!chip) return;
    const cause = chip.getAttribute("aria-pressed") === "true" ? "" : chip.dataset.cause;
    if (this.isWhole) {
      this.setWhole(cause);
      this.onWhole(cause);
      this.rest();
    } else {
      this.onCause(this.cells, cause);
      this.#press(cause);
    }
  }

  #chipsFor(name, cause) {
    at("check-cause-of").textContent = name;
    this.#press(cause);
    this.#show({ causes: true });
  }

  #press(cause) {
    for (const chip of this.chips) chip.setAttribute("aria-pressed", String(chip.dataset.cause === cause));
  }

  #show({ note = false, settles = false, corrects = false, causes = false, chooses = false }) {
    this.isWhole = false;
    at("check-hint").hidden = note || causes;
    at("check-says").hidden = causes;
    at("check-note").hidden = !note;
    at("check-settle").hidden = !settles;
    at("check-correct").hidden = !corrects;
    at("check-choosing").hidden = !chooses;
    at("check-causes").hidden = !causes;
  }
}
