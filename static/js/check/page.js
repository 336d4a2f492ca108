// The check: tap a cell for what is the matter with it. Brings together the flat at hand, the store and the page;
// the next flat of a round is opened here without loading a page.
import { ask } from "../tablet/ask.js";
import { readCode } from "../codes.js";
import { Sender } from "../tablet/sender.js";
import { Store } from "../tablet/store.js";
import { Acts } from "./acts.js";
import { Closing } from "./close.js";
import { useCorrection } from "./correct.js";
import { Drawing } from "./draw.js";
import { Follow } from "./follow.js";
import { Head } from "./head.js";
import { useKeys } from "./keys.js";
import { Line } from "./line.js";
import { noteOf, OneCheck, takeUp } from "./one.js";
import { fill, Paint } from "./paint.js";
import { Part } from "./part.js";
import { Refused } from "./refused.js";
import { Round } from "./round.js";
import { RoundBar } from "./roundbar.js";
import { SavedLine } from "./saved.js";
import { useTouch } from "./touch.js";

const at = (id) => document.getElementById(id);

// When this page was asked for: what the server had before that is in its sheet.
const askedAt = () => performance.timeOrigin + (performance.getEntriesByType("navigation")[0]?.requestStart ?? 0);

class CheckPage {
  constructor(data) {
    Object.assign(this, { data, words: data.words, mode: "dead", one: null, round: null, due: [] });
    this.store = new Store();
    this.sender = new Sender(this.store, data.urls.marks);
    this.modes = [...at("check-modes").children];
    this.#makeParts();
    this.#listen();
  }

  #makeParts() {
    const { words, store, sender } = this;
    this.drawing = new Drawing(at("flat-host"), words);
    this.paint = new Paint({ words, counter: at("check-count") });
    this.head = new Head(words);
    this.line = this.#makeLine();
    this.part = new Part({ words, line: this.line, onChange: () => this.#sawOther() });
    this.saved = new SavedLine({ store, sender, words });
    this.refused = new Refused({ store, sender, words });
    this.closing = new Closing({
      onClose: () => this.#close(),
      onNothing: () => this.line.say(words.choosePart, { chooses: this.part.isChoosing }),
    });
    this.bar = new RoundBar({
      words,
      onOpen: (code) => this.go(code),
      onSkip: () => this.#skip(),
      onCode: (text) => this.#code(text),
      onEnd: () => this.#finish(),
    });
    const onSheet = (sheet, askedAt) => this.#heard(sheet, askedAt);
    this.follow = new Follow({ store, url: this.data.urls.flats, onSheet });
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

  #listen() {
    const { drawing } = this;
    const isBusy = () => !this.one || this.closing.isBusy;
    useTouch(at("flat-host"), {
      onTap: (button) => this.#tapped(button),
      onDrag: (buttons) => this.#dragged(buttons),
      isBusy,
    });
    at("check-undo").addEventListener("click", () => this.#back());
    at("check-redo").addEventListener("click", () => this.#back(true));
    at("check-living").addEventListener("click", () => this.#turn());
    at("check-modes").addEventListener("click", (event) => {
      const button = event.target.closest("[data-mode]");
      if (button) this.#setMode(button.dataset.mode);
    });
    useKeys({
      drawing,
      onState: (button, state) => this.#keyed(button, state),
      onUndo: () => this.#back(),
      onRedo: () => this.#back(true),
      onNext: () => this.closing.ask(),
    });
    drawing.onShown = () => this.one && this.#show();
    this.sender.addEventListener("answer", ({ detail }) => this.#answered(detail));
    this.store.addEventListener("elsewhere", () => this.#heardElsewhere());
    window.addEventListener("popstate", () => this.#begin());
    document.addEventListener("scanned", ({ detail }) => this.#code(detail.code));
  }

  // The flat that the address names, the one at hand in the round, or none.
  async begin() {
    const { data } = this;
    if (data.who) await this.store.put("who", data.who).catch(() => {});
    this.worker = data.who ? data.who.worker : ((await this.store.get("who").catch(() => null))?.worker ?? null);
    if (data.sheet) await this.store.keepSheets([data.sheet], askedAt()).catch(() => {});
    await this.#begin();
  }

  async #begin() {
    const kept = await this.store.get("round").catch(() => null);
    const named = readCode(location.pathname.split("/")[1] ?? "");
    const code = named || (kept?.is_open ? kept.at : "");
    if (code) await this.open(code);
    else await this.bar.nowhere(this.store);
  }

  // Open another flat and say so in the address.
  async go(code) {
    const isOpen = await this.open(code, { isNext: true });
    if (!isOpen) return false;
    history.pushState(null, "", `/${code}/check`);
    window.scrollTo(0, 0);
    return true;
  }

  // Returns false where this tablet knows nothing of the flat and cannot ask.
  async open(code, { isNext = false } = {}) {
    const { data, store } = this;
    const sheet = data.sheet?.code === code ? data.sheet : await this.#sheet(code);
    data.sheet = null; // from now on what is kept is newer
    if (!sheet) return false;
    const told = await store.partsOf(code).catch(() => []);
    const round = Round.of(await store.get("round").catch(() => null), code);
    const kept = await store.get(noteOf(code)).catch(() => null);
    const own = takeUp({ sheet, told, kept, goesOn: data.goes_on, round });
    const scope = round?.data.id ?? own.uuid;
    if (this.acts?.scope !== scope) this.acts = new Acts(await store.actsOf(scope).catch(() => []), scope);
    if (round) {
      round.data.at = code;
      await store.put("round", round.data).catch(() => {});
    }
    this.round = round;
    const { sender, acts, worker } = this;
    this.one = new OneCheck({ store, sender, acts, sheet, told, own, worker });
    this.#opened(sheet, own, isNext);
    return true;
  }

  async #sheet(code) {
    const kept = await this.store.sheet(code).catch(() => null);
    if (kept) return kept;
    const askedAt = Date.now();
    const token = (await this.store.get("token").catch(() => "")) ?? "";
    const { status, data } = await ask(`${this.data.urls.flats}/${code}`, { token });
    const sheet = status === 200 ? data.flats?.[0] : null;
    if (sheet) await this.store.keepSheets([sheet], askedAt).catch(() => {});
    return sheet ?? null;
  }

  #opened(sheet, own, isNext) {
    this.head.show(sheet, own);
    this.bar.show(this.round, sheet.code);
    this.saved.closes = false;
    this.line.setWhole(own.cause);
    this.line.rest();
    this.part.isChoosing = false;
    this.closing.open(this.one.book, isNext);
    this.drawing.show(sheet); // which calls #show when it is drawn
    if (this.one.book.living) this.#showLiving();
    else this.#setMode(this.mode === "firm" ? "dead" : this.mode);
    this.follow.watch(sheet, this.data.goes_on);
  }

  // Everything of the flat at hand, as it is drawn now.
  #show() {
    this.paint.open(this.one.book, this.drawing.buttons);
    this.part.open(this.one.book, this.drawing.flat, this.part.isChoosing);
    this.#showBack();
  }

  #showBack() {
    at("check-undo").disabled = this.acts.last() === null;
    at("check-redo").hidden = this.acts.last(true) === null;
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

  // Another part of the flat was seen, or all of it.
  #sawOther() {
    if (this.one.own.opened_at) this.one.note();
    this.paint.all();
    this.#showMode();
  }

  #tapped(button) {
    const { cell: id, row } = button.dataset;
    const { book } = this.one;
    if (this.part.isChoosing) this.part.tap(button.dataset);
    else if (id) this.#tapCell(book.cells.get(id), (cell) => book.tap(cell, this.mode));
    else this.#tapMany((cell) => !row || cell.name.startsWith(row));
  }

  #keyed(button, state) {
    if (!this.one || this.closing.isBusy || this.part.isChoosing) return;
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
    const isKept = one.keep(act, history);
    this.#after(() => this.#sayOf(cells, quietly));
    this.saved.lost(!(await isKept));
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
    if (!this.one || this.closing.isBusy) return;
    this.part.end();
    const act = this.acts.last(isRedo);
    if (!act) return;
    if (act.flat !== this.one.code && !(await this.go(act.flat))) return;
    const { book, own } = this.one;
    const isHere = act.check === own.uuid && act.changes.every(({ cell }) => book.cells.has(cell));
    if (!isHere) {
      this.acts.lose(isRedo);
      this.#showBack();
      return this.line.say(this.words.nothingBack);
    }
    await this.#did(isRedo ? book.redo(act) : book.undo(act), { history: isRedo ? "redo" : "undo" });
  }

  // Tap the living instead, or again the dead.
  #turn() {
    if (!this.one || this.closing.isBusy) return;
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

  // Close the check; in a round the next flat comes, else the flat's page as soon as the server knows.
  async #close() {
    const { one, round } = this;
    this.part.end();
    this.closing.busy(true);
    if (one.book.living) at("check-living").setAttribute("aria-pressed", "false");
    const { alive, dead } = one.book.count();
    round?.close(one.code, { alive, dead });
    const uuid = await one.close(round ? { round: round.data } : {});
    this.saved.lost(uuid === null);
    if (uuid === null) {
      this.closing.busy(false);
      return this.line.say(this.words.notKeptWhat);
    }
    if (round) return this.#next();
    this.paint.all();
    this.saved.closes = true;
    this.closingUuid = uuid;
    this.sender.hurry();
  }

  async #skip() {
    this.round.skip(this.one.code);
    await this.store.put("round", this.round.data).catch(() => {});
    await this.#next();
  }

  async #next() {
    const code = this.round.next();
    if (code === null && this.round.closed < this.round.size) return this.bar.list();
    if (code === null) return this.#finish();
    if (!(await this.go(code))) this.line.say(fill(this.words.notHere, { code }));
  }

  async #finish() {
    this.round.data.is_open = false;
    await this.store.put("round", this.round.data).catch(() => {});
    this.sender.hurry();
    this.follow.watch({ code: "", tag: "" });
    this.bar.finished(this.round);
  }

  // A code was scanned or typed: that flat, and it comes into the round.
  async #code(text) {
    const code = readCode(text);
    if (!code.startsWith("F")) return this.bar.say(fill(this.words.noFlat, { code: text }));
    if (this.one?.code === code) return this.bar.say("");
    if (this.round) {
      this.round.take(code);
      await this.store.put("round", this.round.data).catch(() => {});
    }
    if (!(await this.go(code))) this.bar.say(fill(this.words.notHere, { code }));
    else this.bar.say("");
  }

  async #heard(sheet, askedAt) {
    await this.store.keepSheets([sheet], askedAt).catch(() => {});
    if (this.one?.code === sheet.code) this.#redraw(sheet);
  }

  async #heardElsewhere() {
    if (this.one) this.#redraw(this.one.sheet);
  }

  async #redraw(sheet) {
    const { one } = this;
    const isOther = sheet.map !== one.sheet.map && sheet.map.length !== one.sheet.map.length;
    const changed = await one.update(sheet);
    if (one !== this.one) return;
    if (isOther) return this.drawing.show(sheet);
    this.head.hints(sheet, one.own);
    this.paint.cells(changed);
    if (changed.length) this.paint.count();
  }

  async #answered({ uuid, noun, flat, status, reason }) {
    if (uuid === this.closingUuid && status !== "refused") {
      location.assign(`${this.one.sheet.url}?closed=${this.one.own.uuid}`);
    }
    if (status !== "refused") return;
    if (uuid === this.closingUuid) {
      this.closingUuid = null;
      this.closing.busy(false);
      await this.one.reopen();
      this.line.say(reason);
    } else if (noun === "marks" && flat === this.one?.code) {
      const cell = this.one.book.forget(uuid);
      if (!cell) return;
      this.paint.cells([cell]);
      this.paint.count();
      this.line.say(fill(this.words.refused, { cell: cell.name, reason }));
    }
  }
}

const data = at("check-data");
if (data) new CheckPage(JSON.parse(data.textContent)).begin();
