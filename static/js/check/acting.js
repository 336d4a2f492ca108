// What a touch on the flat at hand does: marks, takes back, does again, says why nothing happened. The page gives it
// the flat (`open`) and tells when the check is being closed (`isBusy`).
import { useCorrection } from "./correct.js";
import { useKeys } from "./keys.js";
import { Line } from "./line.js";
import { fill, Paint } from "./paint.js";
import { Part } from "./part.js";
import { useTouch } from "./touch.js";

const at = (id) => document.getElementById(id);

export class Acting {
  // isBusy(): nothing may be marked now. onNext(): close and go on. saved: is told what is being kept.
  // go(code): another flat, for what was done there; resolves to whether it is at hand.
  constructor({ words, drawing, isBusy, onNext, saved, go }) {
    Object.assign(this, { words, drawing, isBusy, saved, go, mode: "dead", one: null, due: [] });
    this.modes = [...at("check-modes").children];
    this.paint = new Paint({ words, counter: at("check-count") });
    this.line = this.#makeLine();
    this.part = new Part({ words, line: this.line, onChange: () => this.#sawOther() });
    drawing.onShown = () => this.one && this.#show();
    this.#listen(onNext);
  }

  #makeLine() {
    return new Line({
      words: this.words,
      onCause: (cells, cause) => this.#did(this.one.book.setCause(cells, cause), { quietly: true }),
      onWhole: (cause) => {
        this.one.own.cause = cause;
        this.one.note();
      },
      onSettle: (cell, state) => this.#did(this.one.book.settle(cell, state)),
      onCorrect: useCorrection({
        onCorrected: (cell, state, reason) => this.#did(this.one.book.correct(cell, state, reason)),
      }),
    });
  }

  #listen(onNext) {
    useTouch(at("flat-host"), {
      onTap: (button) => this.#tapped(button),
      onDrag: (buttons) => this.#dragged(buttons),
      isBusy: this.isBusy,
    });
    at("check-undo").addEventListener("click", () => this.#back());
    at("check-redo").addEventListener("click", () => this.#back(true));
    at("check-living").addEventListener("click", () => this.#turn());
    at("check-modes").addEventListener("click", (event) => {
      const button = event.target.closest("[data-mode]");
      if (button) this.#setMode(button.dataset.mode);
    });
    useKeys({
      drawing: this.drawing,
      onState: (button, state) => this.#keyed(button, state),
      onUndo: () => this.#back(),
      onRedo: () => this.#back(true),
      onNext,
    });
  }

  // Another flat.
  open(one) {
    this.one = one;
    for (const id of ["check-part", "check-whole", "check-living"]) at(id).disabled = false; // before, a touch would be lost
    this.line.setWhole(one.own.cause);
    this.line.rest();
    this.part.isChoosing = false;
    this.drawing.show(one.sheet); // which calls #show when it is drawn
    if (one.book.living) this.#showLiving();
    else this.#setMode(this.mode === "firm" ? "dead" : this.mode);
  }

  // The server, or another tab, has news of the flat at hand.
  async hear(sheet) {
    const { one } = this;
    const isOther = sheet.map.length !== one.sheet.map.length;
    const changed = await one.update(sheet);
    if (one !== this.one) return;
    if (isOther) return this.drawing.show(sheet);
    this.paint.cells(changed);
    if (changed.length) this.paint.count();
  }

  // The server did not take a mark: it was never said.
  refused(uuid, reason) {
    const cell = this.one.book.forget(uuid);
    if (!cell) return;
    this.paint.cells([cell]);
    this.paint.count();
    this.line.say(fill(this.words.refused, { cell: cell.name, reason }));
  }

  say(text) {
    this.line.say(text);
  }

  sayNothingSeen() {
    this.line.say(this.words.choosePart, { chooses: this.part.isChoosing });
  }

  // The check is being closed: what was being chosen is chosen.
  closes() {
    this.part.end();
    if (this.one.book.living) at("check-living").setAttribute("aria-pressed", "false");
  }

  show() {
    this.paint.all();
  }

  // Everything of the flat at hand, as it is drawn now.
  #show() {
    this.paint.open(this.one.book, this.drawing.buttons);
    this.part.open(this.one.book, this.drawing.flat, this.part.isChoosing);
    this.#showBack();
  }

  // Another part of the flat was seen, or all of it.
  #sawOther() {
    if (this.one.own.opened_at) this.one.note();
    this.paint.all();
    this.#showMode();
  }

  #showBack() {
    at("check-undo").disabled = this.one.acts.last() === null;
    at("check-redo").hidden = this.one.acts.last(true) === null;
  }

  #setMode(mode) {
    if (this.one?.book.living && mode === "dead") return;
    this.mode = mode;
    this.part.end();
    this.#showMode();
  }

  #showMode() {
    const mode = this.part.isChoosing ? null : this.mode; // while the part is chosen a tap marks nothing
    for (const button of this.modes) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
  }

  #tapped(button) {
    const { cell: id, row } = button.dataset;
    const { book } = this.one;
    if (this.part.isChoosing) this.part.tap(button.dataset);
    else if (id) this.#tapCell(book.cells.get(id), (cell) => book.tap(cell, this.mode));
    else this.#tapMany((cell) => !row || cell.name.startsWith(row));
  }

  #keyed(button, state) {
    if (!this.one || this.isBusy() || this.part.isChoosing) return;
    const { book } = this.one;
    this.#tapCell(book.cells.get(button.dataset.cell), (cell) => book.state(cell, state));
  }

  #tapCell(cell, tap) {
    const { why, act } = tap(cell);
    if (why) this.#explain(cell, why);
    else this.#did(act);
  }

  #tapMany(wanted) {
    const { words, one, mode } = this;
    const act = one.book.tapMany([...one.book.cells.values()].filter(wanted), mode);
    if (act) this.#did(act);
    else this.line.say(mode === "firm" && !one.book.living ? words.notWiltingRow : words.nothing);
  }

  #dragged(buttons) {
    if (this.part.isChoosing) return;
    const { book } = this.one;
    const act = book.tapOver(buttons.map((button) => book.cells.get(button.dataset.cell)), this.mode);
    if (act) this.#did(act);
  }

  // Why a tap changed nothing, and what to do instead.
  #explain(cell, why) {
    const { words, line } = this;
    const fit = { cell: cell.name, day: cell.base.since || words.today };
    if (why === "disputed") line.say(fill(words.disputed, fit), { cell, settles: true });
    if (why === "notWilting") line.say(fill(words.notWilting, fit));
    if (why !== "locked") return;
    const cause = line.nameOf(cell.base.cause);
    const since = fill(cell.state === "gone" ? words.goneSince : words.deadSince, fit);
    line.say(cause ? `${since} ${fill(words.because, { cause })}` : since, { cell, corrects: true });
  }

  // An act was done, taken back or done again: its cells are painted at once, then it is kept; what else is to be
  // said of it waits until they are seen.
  async #did(act, { history = null, quietly = false } = {}) {
    if (!act) return;
    const { one, paint } = this;
    const cells = act.changes.map(({ cell }) => one.book.cells.get(cell));
    paint.cells(cells, { isBusy: true });
    this.saved.keeps();
    const isKept = one.keep(act, history);
    this.#after(() => this.#sayOf(cells, quietly));
    this.saved.kept(await isKept);
    if (one !== this.one) return;
    this.#after(() => paint.cells(cells));
    if (await isKept) return;
    this.#after(() => {
      paint.count();
      this.#showBack();
      this.line.say(this.words.notKeptWhat);
    });
  }

  #sayOf(cells, quietly) {
    if (!this.one) return;
    this.paint.count();
    this.#showBack();
    if (this.one.book.living) this.#sayUntapped();
    else if (!quietly) this.line.offerCauses(cells);
  }

  // Do something once what was painted is seen; what was asked for meanwhile is done in one go.
  #after(act) {
    this.due.push(act);
    if (this.due.length > 1) return;
    requestAnimationFrame(() =>
      setTimeout(() => {
        const { due } = this;
        this.due = [];
        for (const one of due) one();
      }),
    );
  }

  // Take the last act of the round back, or do it again, on whatever flat it was.
  async #back(isRedo = false) {
    if (this.isBusy()) return;
    this.part.end();
    const act = this.one.acts.last(isRedo);
    if (!act) return;
    if (act.flat !== this.one.code && !(await this.go(act.flat))) return;
    const { book, own } = this.one;
    const isHere = act.check === own.uuid && act.changes.every(({ cell }) => book.cells.has(cell));
    if (!isHere) {
      this.one.acts.lose(isRedo);
      this.#showBack();
      return this.line.say(this.words.nothingBack);
    }
    await this.#did(isRedo ? book.redo(act) : book.undo(act), { history: isRedo ? "redo" : "undo" });
  }

  // Tap the living instead, or again the dead.
  #turn() {
    if (this.isBusy()) return;
    this.one.book.living = !this.one.book.living;
    this.one.note();
    this.#showLiving();
  }

  #showLiving() {
    const { living } = this.one.book;
    at("check-living").setAttribute("aria-pressed", String(living));
    for (const button of this.modes) {
      button.hidden = living && button.dataset.mode === "dead";
      button.querySelector("[data-usual]")?.toggleAttribute("hidden", living);
      button.querySelector("[data-living]")?.toggleAttribute("hidden", !living);
    }
    this.#setMode(living ? "firm" : "dead");
    this.paint.all();
    if (living) this.#sayUntapped();
    else this.line.rest();
  }

  #sayUntapped() {
    this.line.say(fill(this.words.notTapped, { n: this.one.book.untapped() }));
  }
}
