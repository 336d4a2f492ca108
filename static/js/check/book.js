// What is known of each cell during a check, and the marks that follow from taps. Knows no page.
//
// A cell has a base (its state without this check) and what this check states. `open` are the marks that the
// next one replaces. `stack` holds what stood before each statement of this check, for taking it back.
import { newUuid } from "./ids.js";

const LIVING = new Set(["unmarked", "firm", "wilting"]);

export const isLiving = (state) => LIVING.has(state);

export class Book {
  // say(mark) is called for every mark made.
  // seenToday: places that an earlier check of the day saw.
  constructor({ check, columns, worker, say, seenToday = [] }) {
    Object.assign(this, { check, columns, worker, say });
    this.seenToday = new Set(seenToday);
    this.part = null; // the places seen, where it is not the whole flat
    this.cells = new Map();
    this.actions = [];
    this.living = false; // true: the living are tapped, what is not tapped will be dead
  }

  add(id, { state, disagree }, told = {}) {
    const base = { state, disagree, since: told.since ?? "", cause: told.cause ?? "" };
    const cell = { id, place: Number.parseInt(id, 10), name: this.nameOf(id), base, open: told.open ?? [], seen: [...(told.open ?? [])] };
    Object.assign(cell, { state, cause: base.cause, kind: "", stated: false, stack: [] });
    this.cells.set(id, cell);
  }

  nameOf(id) {
    const place = Number.parseInt(id, 10) - 1;
    const row = String.fromCharCode(65 + Math.floor(place / this.columns));
    return `${row}${(place % this.columns) + 1}`;
  }

  // Take up a check again: what it stated before the page was loaded.
  resume(own) {
    for (const [id, told] of Object.entries(own)) {
      const cell = this.cells.get(id);
      if (!cell) continue;
      const { open } = cell;
      cell.base = { state: told.state, disagree: false, since: told.since ?? "", cause: told.cause ?? "" };
      Object.assign(cell, { state: told.state, cause: cell.base.cause });
      for (const [uuid, kind, state, cause] of told.marks) {
        if (kind === "undo") this.#back(cell, cell.stack.pop() ?? this.#now(cell));
        else this.#forth(cell, { kind, state, cause });
        cell.seen.push(uuid);
      }
      cell.open = open;
    }
  }

  // What will be counted if the check is closed now.
  shown(cell) {
    if (this.living && !cell.stated && isLiving(cell.state) && this.looksAt(cell)) return "dead";
    return cell.state;
  }

  // Whether this check looks at the cell: all, but where only part of the flat is seen and it was not tapped.
  looksAt(cell) {
    return this.part === null || cell.stated || this.part.has(cell.place);
  }

  // Whether the cell counts as not seen today.
  isUnseen(cell) {
    return !this.looksAt(cell) && isLiving(cell.state) && !this.seenToday.has(cell.place);
  }

  // The part seen ends with this cell; without one, nothing is seen yet.
  seeUpTo(stop) {
    const places = [...this.cells.values()].map(({ place }) => place);
    this.part = new Set(places.filter((place) => stop && place <= stop.place));
  }

  seeRow(row) {
    const isSeen = this.rowIsSeen(row);
    for (const { place } of this.#row(row)) {
      if (isSeen) this.part.delete(place);
      else this.part.add(place);
    }
  }

  rowIsSeen(row) {
    const cells = this.#row(row);
    return this.part !== null && cells.length > 0 && cells.every(({ place }) => this.part.has(place));
  }

  // The last cell of the part, where it holds all cells before that one.
  stop() {
    const cells = [...this.cells.values()].sort((one, other) => one.place - other.place);
    const isSeen = ({ place }) => this.part.has(place);
    const last = cells.findLastIndex(isSeen);
    return cells.slice(0, last + 1).every(isSeen) ? cells[last] : null;
  }

  // The furthest of the cells touched last.
  lastTouched() {
    const cells = (this.actions.at(-1) ?? []).map(({ cell }) => cell);
    return cells.reduce((last, cell) => (last && last.place > cell.place ? last : cell), null);
  }

  // What a closing says was seen.
  sight() {
    const isWhole = [...this.cells.values()].every((cell) => this.part === null || this.part.has(cell.place));
    if (isWhole) return { seen: "whole", seen_places: [] };
    return { seen: "part", seen_places: [...this.part].sort((one, other) => one - other) };
  }

  seesNothing() {
    return this.part !== null && ![...this.cells.values()].some((cell) => this.looksAt(cell));
  }

  // The state that an earlier check saw, where this one has not touched it.
  before(cell) {
    if (cell.stated || this.shown(cell) !== cell.base.state) return "";
    return cell.base.state === "dead" || cell.base.state === "wilting" ? cell.base.state : "";
  }

  isDisputed(cell) {
    return cell.base.disagree && cell.stack.length === 0;
  }

  isLocked(cell) {
    return !cell.stated && !isLiving(cell.state);
  }

  count() {
    const count = { alive: 0, wilting: 0, dead: 0, gone: 0, seen: 0 };
    for (const cell of this.cells.values()) {
      if (this.isUnseen(cell)) continue;
      count.seen += 1;
      const state = this.shown(cell);
      if (isLiving(state)) count.alive += 1;
      if (state === "wilting") count.wilting += 1;
      if (state === "dead" || state === "gone") count[state] += 1;
    }
    return count;
  }

  // Tap one cell. Returns why nothing happened ("locked", "disputed", "notWilting"), or null.
  tap(cell, mode) {
    if (this.isDisputed(cell)) return "disputed";
    if (this.isLocked(cell)) return "locked";
    const steps = this.#step(cell, mode);
    if (!steps) return "notWilting";
    this.#act([[cell, steps]]);
    return null;
  }

  // Mark the living among these cells; if there is nothing left to mark, take the same marks back.
  tapMany(cells, mode) {
    const free = cells.filter((cell) => !this.isDisputed(cell) && !this.isLocked(cell));
    const due = free.filter((cell) => this.#isDue(cell, mode));
    const taken = due.length ? due : free.filter((cell) => cell.stated && cell.state === mode);
    this.#act(taken.map((cell) => [cell, due.length ? { kind: "seen", state: mode } : { back: true }]));
    return taken;
  }

  settle(cell, state) {
    this.#act([[cell, { kind: "correction", state, reason: "settled" }]]);
  }

  correct(cell, state, reason) {
    this.#act([[cell, { kind: "correction", state, reason }]]);
  }

  // Another cause for what this check states of these cells.
  setCause(cells, cause) {
    const stated = cells.filter((cell) => cell.stated && cell.cause !== cause);
    this.#act(stated.map((cell) => [cell, { kind: cell.kind, state: cell.state, reason: cell.reason, cause }]));
  }

  // Take the last action back, whatever it was.
  undo() {
    const action = this.actions.pop() ?? [];
    for (const { cell, was } of action) {
      const restores = was.stack.length > cell.stack.length;
      const kind = restores && was.kind ? was.kind : "undo";
      this.#write(cell, { kind, state: was.state, cause: was.cause, reason: was.reason });
      this.#back(cell, was);
    }
    return action.map(({ cell }) => cell);
  }

  // When the living were tapped: the rest is dead.
  countUntappedDead() {
    const dead = [...this.cells.values()].filter((cell) => this.shown(cell) === "dead" && isLiving(cell.state));
    this.living = false;
    this.#act(dead.map((cell) => [cell, { kind: "seen", state: "dead" }]));
  }

  untapped() {
    const untapped = (cell) => !cell.stated && isLiving(cell.state) && this.looksAt(cell);
    return [...this.cells.values()].filter(untapped).length;
  }

  stillWilting() {
    const wilts = (cell) => this.shown(cell) === "wilting" && !cell.stated && this.looksAt(cell);
    return [...this.cells.values()].filter(wilts);
  }

  knownMarks() {
    return [...this.cells.values()].flatMap((cell) => cell.seen);
  }

  // The server did not take a mark: go back to what stood before it.
  refuse(uuid) {
    for (const cell of this.cells.values()) {
      if (!cell.seen.includes(uuid)) continue;
      cell.seen = cell.seen.filter((seen) => seen !== uuid);
      if (cell.open.includes(uuid)) {
        cell.open = cell.openBefore ?? [];
        if (cell.stack.length) this.#back(cell, cell.stack.at(-1));
      }
      return cell;
    }
    return null;
  }

  #row(row) {
    return [...this.cells.values()].filter(({ name }) => name.startsWith(row));
  }

  #isDue(cell, mode) {
    if (cell.stated && cell.state === mode) return false;
    if (mode === "dead") return true;
    if (mode === "wilting") return cell.state !== "wilting" && isLiving(cell.state);
    return this.living ? isLiving(cell.state) : cell.state === "wilting" && !cell.stated;
  }

  #step(cell, mode) {
    if (cell.stated && cell.state === mode) return { back: true };
    if (mode !== "firm" || this.living) return { kind: "seen", state: mode };
    if (cell.stated) return { back: true }; // "recovered" after a slip of the finger
    return cell.state === "wilting" ? { kind: "seen", state: "firm" } : null;
  }

  #act(steps) {
    if (!steps.length) return;
    const action = steps.map(([cell]) => ({ cell, was: this.#now(cell) }));
    for (const [cell, step] of steps) {
      if (step.back) {
        const was = cell.stack.at(-1);
        this.#write(cell, { kind: "undo", state: was.state, cause: was.cause });
        this.#back(cell, was);
      } else {
        this.#write(cell, step);
        this.#forth(cell, step);
      }
    }
    this.actions.push(action);
  }

  #write(cell, { kind, state, cause = "", reason = "" }) {
    const at = new Date().toISOString();
    const mark = { uuid: newUuid(), check: this.check.uuid, cell: cell.id, kind, state, cause, reason, at };
    this.say({ ...mark, replaces: cell.open, worker: this.worker });
    cell.openBefore = cell.open;
    cell.open = [mark.uuid];
    cell.seen.push(mark.uuid);
  }

  #now({ state, cause, kind, reason, stated, stack }) {
    return { state, cause, kind, reason, stated, stack: [...stack] };
  }

  #forth(cell, { kind, state, cause = "", reason = "" }) {
    // The same state said again (a cause was added) is no new step to take back.
    if (!(cell.stated && cell.state === state)) cell.stack.push(this.#now(cell));
    Object.assign(cell, { state, cause, kind, reason, stated: true });
  }

  #back(cell, { state, cause, kind, reason, stated, stack }) {
    Object.assign(cell, { state, cause, kind, reason, stated, stack: [...stack] });
  }
}
