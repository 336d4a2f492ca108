// Draws a cell, and the count, as the book says. Only what changed is touched: no re-render for a tap.
import { isLiving } from "./book.js";

export const fill = (sentence, values) => sentence.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);

export class Paint {
  constructor({ book, words, buttons, counter }) {
    Object.assign(this, { book, words, buttons, counter });
  }

  cells(cells) {
    for (const cell of cells) this.#cell(cell);
    this.count();
  }

  all() {
    this.cells(this.book.cells.values());
  }

  count() {
    const { words } = this;
    const { alive, wilting, dead, gone, seen } = this.book.count();
    const said = [[alive, words.alive + (wilting ? `, ${fill(words.ofThem, { n: wilting })}` : "")], [dead, words.dead]];
    if (gone) said.push([gone, words.gone]);
    if (this.book.part) said.push([seen, fill(words.ofSeen, { n: this.book.cells.size })]);
    const text = said.map(([n, what]) => `${n} ${what}`).join(" ");
    if (this.counter.textContent === text) return;
    this.counter.replaceChildren(...said.flatMap(([n, what], index) => this.#figure(n, what, index)));
  }

  #figure(n, what, index) {
    const figure = document.createElement("span");
    const number = document.createElement("b");
    figure.className = "figure";
    number.textContent = n;
    figure.append(number, ` ${what}`);
    return index ? [" ", figure] : [figure];
  }

  #cell(cell) {
    const button = this.buttons.get(cell.id);
    const state = this.book.shown(cell);
    const before = this.book.before(cell);
    button.dataset.state = state;
    if (before) button.dataset.before = before;
    else delete button.dataset.before;
    const isUnseen = this.book.isUnseen(cell);
    button.toggleAttribute("data-disagree", this.book.isDisputed(cell));
    button.toggleAttribute("data-unseen", isUnseen);
    button.setAttribute("aria-pressed", String(cell.stated));
    const said = [cell.name, this.#say(state, before), ...(isUnseen ? [this.words.notSeen] : [])];
    button.setAttribute("aria-label", said.join(", "));
  }

  #say(state, before) {
    if (state === "dead" && before) return this.words.deadBefore;
    return isLiving(state) && state !== "wilting" ? this.words.firm : this.words[state];
  }
}
