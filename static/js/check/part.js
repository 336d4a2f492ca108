// Only part of the flat was seen: rows are touched, or the cell where somebody stopped, in reading order.
// While this is chosen a tap marks nothing; what it comes to is the book's (`book.part`).
import { fill } from "./paint.js";

const at = (id) => document.getElementById(id);

export class Part {
  // onChange(): what is seen has changed, or whether it is being chosen.
  constructor({ words, line, onChange }) {
    Object.assign(this, { words, line, onChange });
    this.isChoosing = false;
    at("check-part").addEventListener("click", () => (this.isChoosing ? this.end() : this.#begin()));
    at("check-go-on").addEventListener("click", () => this.end());
    at("check-all-seen").addEventListener("click", () => this.#whole());
  }

  // Another flat: its book, and the element it is drawn in.
  open(book, flat, isChoosing = false) {
    Object.assign(this, { book, flat, isChoosing });
    this.show();
  }

  get heads() {
    return [...this.flat.querySelectorAll("[data-row]")];
  }

  // A tap while choosing: a row comes or goes, a cell is where it ends, the corner is the whole flat.
  tap({ cell: id, row }) {
    if (id) this.book.seeUpTo(this.book.cells.get(id));
    else if (row) this.book.seeRow(row);
    else return this.#whole();
    this.#changed();
  }

  // Go on marking. Nothing chosen is no part.
  end() {
    if (!this.isChoosing) return;
    this.isChoosing = false;
    if (this.book.part?.size === 0) this.book.part = null;
    this.#changed();
  }

  #begin() {
    this.isChoosing = true;
    if (!this.book.part) this.book.seeUpTo(this.book.lastTouched());
    this.#changed();
  }

  #whole() {
    this.isChoosing = false;
    this.book.part = null;
    this.#changed();
  }

  #changed() {
    this.show();
    this.onChange();
    if (this.isChoosing) this.line.say(this.#said(), { chooses: true });
    else this.line.rest();
  }

  #said() {
    const { words, book } = this;
    if (!book.part.size) return words.choosePart;
    const stop = book.stop();
    const rows = this.heads.map((head) => head.dataset.row).filter((row) => book.rowIsSeen(row));
    const seen = stop ? fill(words.seenUpTo, { cell: stop.name }) : fill(words.seenRows, { rows: rows.join(", ") });
    return `${seen} ${words.chooseMore}`;
  }

  // Which rows are seen; the flat may have been drawn anew.
  show() {
    at("check-part").setAttribute("aria-pressed", String(this.isChoosing || this.book.part !== null));
    for (const head of this.heads) {
      if (this.isChoosing) head.setAttribute("aria-pressed", String(this.book.rowIsSeen(head.dataset.row)));
      else head.removeAttribute("aria-pressed");
    }
  }
}
