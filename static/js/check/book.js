// What is known of each cell of one flat, and the marks that follow from taps. Knows no page and keeps nothing.
//
// A cell's marks come from the sheet (as the server had them) and from this tablet (what was said here since). Its
// state is folded from all of them. What this check said of it, in order, is replayed for taking it back: `now`
// is what it states, `stack` what stood before each statement.
import { fold, isLiving } from "../tablet/fold.js";
import { newUuid } from "../tablet/ids.js";

const STATES = { a: "unmarked", f: "firm", w: "wilting", d: "dead", g: "gone" };
const NOTHING = { state: "unmarked", cause: "", kind: "", reason: "", stated: false };

export { isLiving };

export class Book {
  // An act is returned with the marks that say it, which are the caller's to keep: see `kept` and `forget`.
  // own: {uuid, living, part} of the check that is made here; told: the parts this tablet said of the flat.
  constructor({ sheet, own, told = [], worker }) {
    Object.assign(this, { own, worker, living: own.living ?? false });
    this.part = own.part ? new Set(own.part) : null; // the places seen, where it is not the whole flat
    this.cells = new Map();
    this.local = new Map(); // marks said here, by uuid
    this.pending = new Set(); // those of them that the store has not kept yet
    this.trail = []; // the cells of each act, as far as it was not taken back
    this.update(sheet, told);
  }

  // The server was asked again, or another tab said something. Returns the cells that are different now.
  update(sheet, told) {
    this.sheet = sheet;
    const pending = [...this.pending].map((uuid) => [uuid, this.local.get(uuid)]);
    const marks = told.filter(({ noun }) => noun === "marks").map(({ part }) => [part.uuid, part]);
    this.local = new Map([...marks, ...pending]);
    return this.#rebuild(sheet);
  }

  // These marks are kept on this tablet now.
  kept(marks) {
    for (const { uuid } of marks) this.pending.delete(uuid);
  }

  // Whether something said of the cell is not kept yet.
  isPending(cell) {
    return this.pending.size > 0 && cell.marks.some(({ uuid }) => this.pending.has(uuid));
  }

  #rebuild(sheet) {
    this.seenToday = new Set(sheet.seen_today);
    const byCell = this.#marksByCell();
    const disputed = new Set(sheet.disputed);
    const changed = [];
    [...sheet.map].forEach((letter, index) => {
      if (!(letter in STATES)) return;
      const place = index + 1;
      const graft = sheet.grafts?.[place];
      const id = graft ? `${place}.${graft}` : `${place}`;
      const cell = this.cells.get(id) ?? { id, place, name: this.nameOf(id) };
      const before = JSON.stringify([cell.state, cell.base?.state, cell.differs, cell.stated, cell.isFlagged]);
      cell.marks = byCell.get(id) ?? [];
      cell.drawn = STATES[letter];
      cell.isFlagged = disputed.has(id);
      cell.closings = sheet.closings.filter(({ places }) => !places || places.includes(place)).map(({ uuid }) => uuid);
      this.cells.set(id, cell);
      this.#refold(cell);
      const after = JSON.stringify([cell.state, cell.base.state, cell.differs, cell.stated, cell.isFlagged]);
      if (before !== after) changed.push(cell);
    });
    return changed;
  }

  #marksByCell() {
    const { marks, checks } = this.sheet;
    const byCell = new Map();
    const known = new Set();
    const add = (id, mark) => {
      known.add(mark.uuid);
      if (!byCell.has(id)) byCell.set(id, []);
      byCell.get(id).push(mark);
    };
    for (const [id, uuid, check, state, kind = "seen", cause = "", replaces = []] of marks) {
      const { uuid: from, since, cause: forAll, who } = checks[check];
      const isLoss = state === "dead" || state === "wilting";
      const inherited = isLoss && from !== this.own.uuid ? forAll : "";
      add(id, { uuid, check: from, state, kind, cause: cause || inherited, replaces, since, who });
    }
    for (const mark of this.local.values()) if (!known.has(mark.uuid)) add(mark.cell, this.#localMark(mark));
    return byCell;
  }

  #localMark(mark) {
    return { ...mark, isLocal: true, since: "", who: "" };
  }

  nameOf(id) {
    const place = Number.parseInt(id, 10) - 1;
    const row = String.fromCharCode(65 + Math.floor(place / this.sheet.columns));
    return `${row}${(place % this.sheet.columns) + 1}`;
  }

  // Fold a cell's marks; then replay what this check said of it.
  #refold(cell) {
    const whole = fold(cell.marks);
    const others = cell.marks.filter(({ check }) => check !== this.own.uuid);
    const base = others.length === cell.marks.length ? whole : fold(others);
    const { since = "", cause = "", who = "" } = base.deciding ?? {};
    cell.base = { state: base.deciding ? base.state : this.#plain(cell), since, cause, who };
    cell.open = whole.open;
    cell.state = whole.deciding ? whole.state : cell.base.state;
    cell.differs = whole.differs;
    cell.now = { ...NOTHING, state: cell.base.state, cause };
    cell.stack = [];
    for (const mark of cell.marks) if (mark.check === this.own.uuid) this.#replay(cell, mark);
    cell.stated = cell.now.stated && whole.open.some(({ check }) => check === this.own.uuid);
    cell.cause = cell.stated ? cell.now.cause : (whole.deciding?.cause ?? "");
  }

  // A cell without marks is as the server drew it: alive, or moved away.
  #plain(cell) {
    return cell.drawn === "gone" ? "gone" : "unmarked";
  }

  #replay(cell, { kind, state, cause, reason = "" }) {
    if (kind === "undo") {
      cell.now = cell.stack.pop() ?? { ...NOTHING, state };
      cell.now = { ...cell.now, state };
      return;
    }
    // The same state said again (a cause was added) is no new step to take back.
    if (!(cell.now.stated && cell.now.state === state)) cell.stack.push(cell.now);
    cell.now = { state, cause, kind, reason, stated: true };
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
    const cells = (this.trail.at(-1) ?? []).map((id) => this.cells.get(id));
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

  // People disagree, and this tablet has said nothing that ends it since the server told.
  isDisputed(cell) {
    return cell.differs || (cell.isFlagged && !cell.open.some(({ isLocal }) => isLocal));
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

  // Tap one cell. Returns {why} nothing happened ("locked", "disputed", "notWilting"), or {act}.
  tap(cell, mode) {
    if (this.isDisputed(cell)) return { why: "disputed" };
    if (this.isLocked(cell)) return { why: "locked" };
    const step = this.#step(cell, mode);
    return step ? { act: this.#act([[cell, step]]) } : { why: "notWilting" };
  }

  // One key, one state: said as it is; the same key again takes it back.
  state(cell, state) {
    if (state === "firm" && !this.living && cell.state !== "wilting" && !cell.stated) return { why: "notWilting" };
    return this.tap(cell, state);
  }

  // Mark the living among these cells; if there is nothing left to mark, take the same marks back.
  tapMany(cells, mode) {
    const free = cells.filter((cell) => !this.isDisputed(cell) && !this.isLocked(cell));
    const due = free.filter((cell) => this.#isDue(cell, mode));
    const taken = due.length ? due : free.filter((cell) => cell.stated && cell.state === mode);
    return this.#act(taken.map((cell) => [cell, due.length ? { kind: "seen", state: mode } : { back: true }]));
  }

  // A drag marks and never takes back.
  tapOver(cells, mode) {
    const free = cells.filter((cell) => !this.isDisputed(cell) && !this.isLocked(cell) && this.#isDue(cell, mode));
    return this.#act(free.map((cell) => [cell, { kind: "seen", state: mode }]));
  }

  settle(cell, state) {
    return this.#act([[cell, { kind: "correction", state, reason: "settled" }]]);
  }

  correct(cell, state, reason) {
    return this.#act([[cell, { kind: "correction", state, reason }]]);
  }

  // Another cause for what this check states of these cells.
  setCause(cells, cause) {
    const stated = cells.filter((cell) => cell.stated && cell.cause !== cause);
    return this.#act(stated.map((cell) => [cell, { ...cell.now, cause }]));
  }

  // Take an act back, or do it again: each cell goes to what it stated before, or after it.
  undo(act) {
    this.trail.pop();
    return this.#go(act, "was");
  }

  redo(act) {
    this.trail.push(act.changes.map(({ cell }) => cell));
    return this.#go(act, "now");
  }

  // When the living were tapped: the rest is dead.
  countUntappedDead() {
    const dead = [...this.cells.values()].filter((cell) => this.shown(cell) === "dead" && isLiving(cell.state));
    this.living = false;
    return this.#act(dead.map((cell) => [cell, { kind: "seen", state: "dead" }]));
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
    return [...this.cells.values()].flatMap((cell) => cell.marks.map(({ uuid }) => uuid));
  }

  // A mark was not kept, or the server did not take it: it was never said. Returns its cell.
  forget(uuid) {
    const mark = this.local.get(uuid);
    const cell = mark && this.cells.get(mark.cell);
    this.local.delete(uuid);
    this.pending.delete(uuid);
    if (!cell) return null;
    cell.marks = cell.marks.filter((one) => one.uuid !== uuid);
    this.#refold(cell);
    return cell;
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

  // Returns the act, for taking it back: {check, changes: [{cell, was, now}], marks}; or null if nothing changed.
  #act(steps) {
    if (!steps.length) return null;
    const changes = steps.map(([cell]) => ({ cell: cell.id, was: this.#snapshot(cell) }));
    const marks = steps.map(([cell, step]) => this.#write(cell, step.back ? this.#backwards(cell) : step));
    for (const change of changes) change.now = this.#snapshot(this.cells.get(change.cell));
    this.trail.push(changes.map(({ cell }) => cell));
    return { check: this.own.uuid, changes, marks };
  }

  #go({ changes }, where) {
    const marks = changes.map(({ cell: id, [where]: target }) => {
      const cell = this.cells.get(id);
      const { state, cause, reason } = target;
      const restates = target.depth >= cell.stack.length && target.stated;
      return this.#write(cell, { kind: restates ? target.kind : "undo", state, cause, reason });
    });
    return { check: this.own.uuid, changes, marks };
  }

  #backwards(cell) {
    const was = cell.stack.at(-1) ?? { ...NOTHING, state: cell.base.state };
    return { kind: "undo", state: was.state, cause: was.cause };
  }

  #write(cell, { kind, state, cause = "", reason = "" }) {
    const mark = { uuid: newUuid(), check: this.own.uuid, cell: cell.id, kind, state, cause, reason };
    const replaces = [...cell.open.map(({ uuid }) => uuid), ...cell.closings];
    Object.assign(mark, { replaces, at: new Date().toISOString(), worker: this.worker });
    this.local.set(mark.uuid, mark);
    this.pending.add(mark.uuid);
    cell.marks = [...cell.marks, this.#localMark(mark)];
    this.#refold(cell);
    return mark;
  }

  #snapshot({ now, stack }) {
    return { ...now, depth: stack.length };
  }
}
