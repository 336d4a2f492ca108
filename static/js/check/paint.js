// Draws a cell, and the count, as the book says. Only what changed is touched: no re-render for a tap.
import { isLiving } from "./book.js";

export const fill = (sentence, values) => sentence.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);

const put = (element, name, value) => {
  if (value === null) element.removeAttribute(name);
  else if (element.getAttribute(name) !== value) element.setAttribute(name, value);
};

export class Paint {
  constructor({ words, counter }) {
    Object.assign(this, { words, counter });
  }

  // Another flat: its book, and the buttons of its cells by public id.
  open(book, buttons) {
    Object.assign(this, { book, buttons });
    this.all();
  }

  // isBusy: what was just said of them is not kept yet.
  cells(cells, { isBusy = false } = {}) {
    for (const cell of cells) this.#cell(cell, isBusy);
  }

  all() {
    this.cells(this.book.cells.values());
    this.count();
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

  #cell(cell, isBusy) {
    const button = this.buttons.get(cell.id);
    if (!button) return;
    const state = this.book.shown(cell);
    const before = this.book.before(cell);
    const isUnseen = this.book.isUnseen(cell);
    put(button, "aria-busy", isBusy || this.book.isPending(cell) ? "true" : null);
    put(button, "data-state", state);
    put(button, "data-before", before || null);
    put(button, "data-disagree", this.book.isDisputed(cell) ? "" : null);
    put(button, "data-unseen", isUnseen ? "" : null);
    put(button, "aria-pressed", String(cell.stated));
    const said = [cell.name, this.#say(state, before), ...(isUnseen ? [this.words.notSeen] : [])];
    put(button, "aria-label", said.join(", "));
  }

  #say(state, before) {
    if (state === "dead" && before) return this.words.deadBefore;
    return isLiving(state) && state !== "wilting" ? this.words.firm : this.words[state];
  }
}
