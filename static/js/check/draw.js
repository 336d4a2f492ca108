// Draws a flat from its sheet, as views/drawing.py draws one: .flat#flat > .flat-grid > corner, column numbers,
// and for each row its head and cells. They stand in reading order whichever way round the flat lies: turning it and
// showing a part of it is left to style sheets and `hidden`, so that a button lives as long as its flat is shown.
import { fit, LEAST, LEAST_GLOVES, LEAST_OVERVIEW, PartsBar } from "./windows.js";

const STATES = { a: "unmarked", f: "firm", w: "wilting", d: "dead", g: "gone", "-": "blank", ".": "unused" };
const STILL = new Set(["blank", "unused"]);
const RUN_SIGNS = 8;

const make = (name, className, text = "") => {
  const element = document.createElement(name);
  element.className = className;
  if (name === "button") element.type = "button";
  if (text) element.textContent = text;
  return element;
};

const letterOf = (row) => String.fromCharCode(65 + row);

export class Drawing {
  // Called when the flat was drawn, turned, or another part of it is shown.
  onShown = () => {};

  #host;
  #words;
  #bar;
  #sheet = null;
  #flat = null;
  #grid = null;
  #buttons = new Map();
  #places = []; // the element of each place
  #rowHeads = [];
  #columnHeads = [];
  #stop = null; // the one cell that Tab reaches
  #fit = null;
  #part = 0;
  #isOverview = false;

  constructor(host, words) {
    this.#host = host;
    host.classList.add("flat-host");
    this.#words = words;
    const onPart = (number) => this.#choosePart(number);
    this.#bar = new PartsBar({ words, onPart, onOverview: () => this.#turnOverview() });
    host.addEventListener("pointerup", ({ target }) => this.stopAt(target.closest(".cell[data-cell]")));
    new ResizeObserver(() => this.#refit()).observe(host);
    window.addEventListener("resize", () => this.#refit());
    const looks = new MutationObserver(() => this.#refit());
    looks.observe(document.documentElement, { attributeFilter: ["data-gloves"] });
  }

  get flat() {
    return this.#flat;
  }

  // Public id -> button, of all cells.
  get buttons() {
    return this.#buttons;
  }

  get isTurned() {
    return this.#fit?.turned ?? false;
  }

  get columns() {
    return this.#sheet.columns;
  }

  // The same flat again keeps its buttons, if the same plants stand in it.
  show(sheet) {
    const before = this.#sheet;
    this.#sheet = sheet;
    if (before && this.#isSame(before, sheet)) {
      for (const button of this.#buttons.values()) this.#setState(button, sheet);
    } else {
      const stop = before?.code === sheet.code ? this.#stop?.dataset.cell : null;
      this.#draw();
      if (stop) this.stopAt(this.#buttons.get(stop));
      else this.#isOverview = false;
    }
    this.#fit = null;
    this.#refit();
  }

  // Shows the part with this cell.
  reveal(id) {
    const button = this.#buttons.get(id);
    if (!button || this.#isOverview) return;
    this.#showPart(this.#partOf(button));
  }

  // The button of a place, where there is one: rows and columns counted from 0.
  at(row, column) {
    const { rows, columns } = this.#sheet;
    if (row < 0 || column < 0 || row >= rows || column >= columns) return undefined;
    const element = this.#places[row * columns + column];
    return element.dataset.cell ? element : null;
  }

  placeOf(button) {
    const index = Number.parseInt(button.dataset.cell, 10) - 1;
    return { row: Math.floor(index / this.#sheet.columns), column: index % this.#sheet.columns };
  }

  // Tab reaches this cell from now on, and no other.
  stopAt(button) {
    if (!button || button === this.#stop) return;
    if (this.#stop) this.#stop.tabIndex = -1;
    this.#stop = button;
    button.tabIndex = 0;
  }

  #isSame(one, other) {
    const shape = ({ code, rows, columns, map, grafts, runs }) =>
      JSON.stringify([code, rows, columns, map.replaceAll(/[a-z]/g, "a"), grafts ?? {}, runs ?? ""]);
    return shape(one) === shape(other);
  }

  #draw() {
    const { rows, columns } = this.#sheet;
    const { all, row: rowName } = this.#words;
    this.#buttons = new Map();
    this.#places = [];
    this.#rowHeads = [];
    this.#stop = null;
    this.#part = 0;
    this.#flat = make("div", "flat");
    Object.assign(this.#flat, { id: "flat" });
    Object.assign(this.#flat.dataset, { rows, columns, drawn: "" });
    this.#grid = make("div", "flat-grid");
    this.#grid.setAttribute("role", "group");
    const corner = make("button", "flat-corner", all);
    corner.dataset.all = "";
    this.#columnHeads = Array.from({ length: columns }, (_, column) => make("span", "flat-col", String(column + 1)));
    this.#grid.append(corner, ...this.#columnHeads);
    for (let row = 0; row < rows; row += 1) this.#grid.append(...this.#drawRow(row, rowName));
    this.#flat.append(this.#grid);
    this.stopAt(this.#buttons.values().next().value);
    this.#host.replaceChildren(this.#bar.element, this.#flat);
  }

  #drawRow(row, rowName) {
    const { columns } = this.#sheet;
    const head = make("button", "flat-row", letterOf(row));
    head.dataset.row = letterOf(row);
    head.setAttribute("aria-label", rowName.replace("{row}", letterOf(row)));
    this.#rowHeads.push(head);
    const cells = Array.from({ length: columns }, (_, column) => this.#cell(row * columns + column));
    this.#places.push(...cells);
    return [head, ...cells];
  }

  #cell(index) {
    const { map, grafts = {}, runs = "" } = this.#sheet;
    const state = STATES[map[index]] ?? "unused";
    const cell = make(STILL.has(state) ? "span" : "button", "cell");
    cell.dataset.state = state;
    if (STILL.has(state)) return cell;
    const place = index + 1;
    cell.dataset.cell = grafts[place] ? `${place}.${grafts[place]}` : `${place}`;
    const run = Number.parseInt(runs[index], 36);
    if (run > 0) cell.dataset.run = ((run - 1) % RUN_SIGNS) + 1;
    cell.tabIndex = -1;
    this.#buttons.set(cell.dataset.cell, cell);
    return cell;
  }

  #setState(button, { map }) {
    const state = STATES[map[Number.parseInt(button.dataset.cell, 10) - 1]];
    if (button.dataset.state !== state) button.dataset.state = state;
  }

  #fitFor(least) {
    const { rows, columns } = this.#sheet;
    const { innerWidth, innerHeight } = window;
    const width = this.#host.clientWidth || document.documentElement.clientWidth;
    return fit({ rows, columns, width, height: innerHeight, least, isUpright: innerHeight > innerWidth });
  }

  // What is shown fits the screen as it now is; the cell that Tab reaches stays in sight.
  #refit() {
    if (!this.#sheet) return;
    const least = "gloves" in document.documentElement.dataset ? LEAST_GLOVES : LEAST;
    const zoomed = this.#fitFor(least);
    const overview = this.#fitFor(LEAST_OVERVIEW);
    const mayOverview = zoomed.parts.length > 1 && overview.parts.length === 1;
    if (!mayOverview) this.#isOverview = false;
    const next = { ...(this.#isOverview ? overview : zoomed), mayOverview, least: this.#isOverview ? LEAST_OVERVIEW : least };
    if (JSON.stringify(next) === JSON.stringify(this.#fit)) return;
    this.#fit = next;
    this.#lay();
    this.#showPart(this.#stop ? this.#partOf(this.#stop) : 0, { again: true });
  }

  #lay() {
    const { turned, head, least } = this.#fit;
    const { dataset, style } = this.#flat;
    if (turned) dataset.turned = "";
    else delete dataset.turned;
    style.setProperty("--flat-head", `${head}px`);
    style.setProperty("--cell-floor", `${least}px`);
    this.#grid.setAttribute("aria-label", turned ? this.#words.flatTurned : this.#words.flatName);
  }

  #choosePart(number) {
    this.#showPart(number);
    if (this.#stop?.hidden) this.stopAt([...this.#buttons.values()].find((button) => !button.hidden));
  }

  #turnOverview() {
    this.#isOverview = !this.#isOverview;
    this.#refit();
  }

  #lineOf(row, column) {
    return (this.#fit.turned ? row : column) + 1;
  }

  #partOf(button) {
    const { row, column } = this.placeOf(button);
    return this.#fit.parts.findIndex(({ last }) => this.#lineOf(row, column) <= last);
  }

  #showPart(number, { again = false } = {}) {
    if (number === this.#part && !again) return;
    this.#part = number;
    const { parts, turned, mayOverview } = this.#fit;
    const { first, last } = parts[number];
    const { rows, columns } = this.#sheet;
    const hide = (element, line) => {
      const isOut = line < first || line > last;
      if (element.hidden !== isOut) element.hidden = isOut;
    };
    this.#rowHeads.forEach((head, row) => hide(head, turned ? row + 1 : first));
    this.#columnHeads.forEach((head, column) => hide(head, turned ? first : column + 1));
    this.#places.forEach((place, index) => hide(place, this.#lineOf(Math.floor(index / columns), index % columns)));
    this.#flat.toggleAttribute("data-cut-first", number > 0);
    this.#flat.toggleAttribute("data-cut-last", number < parts.length - 1);
    this.#flat.style.setProperty("--flat-across", last - first + 1);
    this.#flat.style.setProperty("--flat-along", turned ? columns : rows);
    this.#bar.show({ parts, turned, chosen: number, isOverview: this.#isOverview, mayOverview });
    this.onShown();
  }
}
