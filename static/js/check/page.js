// The check: tap a cell for what is the matter with it. Brings together the book, the queue and the page.
import { Book } from "./book.js";
import { Closing } from "./close.js";
import { useCorrection } from "./correct.js";
import { deviceUuid, newUuid, remember, remembered } from "./ids.js";
import { useKeys } from "./keys.js";
import { Line } from "./line.js";
import { fill, Paint } from "./paint.js";
import { Part } from "./part.js";
import { Queue } from "./queue.js";
import { useSavedLine } from "./saved.js";

const BOUNCE_MS = 350; // a wet finger may touch twice
const at = (id) => document.getElementById(id);

class CheckPage {
  constructor(data) {
    this.data = data;
    this.words = data.words;
    this.memory = `takebook.check.${data.flat}`;
    this.flat = at("flat");
    this.buttons = new Map([...this.flat.querySelectorAll(".cell[data-cell]")].map((b) => [b.dataset.cell, b]));
    this.modes = [...at("check-modes").children];
    this.mode = "dead";
    this.lastTap = { button: null, at: 0 };
    this.#takeUp();
    this.#makeParts();
    this.#listen();
    if (this.book.living) this.#showLiving();
    else this.paint.all();
  }

  // A check of today that this browser began and nobody closed is taken up again, or the one that the address
  // names; else a new one waits for the first tap.
  #takeUp() {
    const { data } = this;
    const begun = remembered(this.memory);
    const wanted = data.goes_on || begun?.uuid;
    this.stored = data.checks.find(({ uuid }) => uuid === wanted);
    const { opened_at: since = null, cause = "", part = null } = this.stored ?? {};
    const fresh = { uuid: this.stored ? wanted : newUuid(), opened_at: since, living: false, cause, part };
    this.kept = this.stored && begun?.uuid === wanted ? begun : fresh;
    const { uuid, opened_at } = this.kept;
    this.check = { uuid, flat: data.flat, opened_at, kind: "whole", seen_places: null, cause: "", worker: data.worker };
    document.querySelector(`[data-opened="${uuid}"]`)?.remove();
  }

  #makeParts() {
    const { data, words, check, buttons } = this;
    this.queue = new Queue({ url: data.send, device: deviceUuid(), worker: data.worker, check });
    this.queue.isCheckKnown = Boolean(this.stored);
    this.book = this.#makeBook();
    this.paint = new Paint({ book: this.book, words, buttons, counter: at("check-count") });
    this.line = this.#makeLine();
    this.line.setWhole(this.kept.cause);
    const onChange = () => this.#sawOther();
    this.part = new Part({ book: this.book, flat: this.flat, words, line: this.line, onChange });
    this.closing = new Closing({
      book: this.book,
      queue: this.queue,
      onClose: () => this.#beforeClosing(),
      onRefused: (reason) => this.line.say(reason),
      onNothing: () => this.line.say(words.choosePart, { chooses: this.part.isChoosing }),
      onClosed: () => {
        remember(this.memory, null);
        location.assign(`${data.done}?closed=${check.uuid}`);
      },
    });
    useSavedLine({ queue: this.queue, words });
  }

  #makeBook() {
    const { data, check } = this;
    const say = (mark) => {
      this.#open();
      this.queue.add(mark);
    };
    const { columns, worker, seen_today: seenToday } = data;
    const book = new Book({ check, columns, worker, say, seenToday });
    for (const [id, { dataset }] of this.buttons) {
      book.add(id, { state: dataset.state, disagree: "disagree" in dataset }, data.cells[id]);
    }
    if (this.stored) book.resume(this.stored.own);
    book.living = this.kept.living;
    book.part = this.kept.part ? new Set(this.kept.part) : null;
    return book;
  }

  #makeLine() {
    return new Line({
      words: this.words,
      onCause: (cells, cause) => {
        this.book.setCause(cells, cause);
        this.#redraw(cells);
      },
      onWhole: (cause) => {
        this.kept.cause = cause;
        this.#keep();
      },
      onSettle: (cell, state) => {
        this.book.settle(cell, state);
        this.#acted([cell]);
      },
      onCorrect: useCorrection({
        onCorrected: (cell, state, reason) => {
          this.book.correct(cell, state, reason);
          this.#acted([cell]);
        },
      }),
    });
  }

  #listen() {
    const { buttons, flat } = this;
    const undo = () => this.#undo();
    const setMode = (mode) => this.#setMode(mode);
    flat.addEventListener("click", (event) => this.#tapped(event));
    at("check-undo").addEventListener("click", undo);
    at("check-living").addEventListener("click", () => this.#turn());
    at("check-modes").addEventListener("click", (event) => {
      const button = event.target.closest("[data-mode]");
      if (button) setMode(button.dataset.mode);
    });
    this.queue.addEventListener("answer", ({ detail }) => this.#answered(detail));
    useKeys({ flat, columns: this.data.columns, buttons, setMode, undo });
  }

  // The first thing done opens the check.
  #open() {
    if (this.check.opened_at) return;
    this.check.opened_at = this.kept.opened_at = new Date().toISOString();
    this.#keep();
  }

  #keep() {
    this.kept.living = this.book.living;
    this.kept.part = this.book.part && [...this.book.part];
    remember(this.memory, this.kept);
  }

  #setMode(mode) {
    if (this.book.living && mode === "dead") return;
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
    if (this.check.opened_at) this.#keep();
    this.paint.all();
    this.#showMode();
  }

  #tapped(event) {
    const button = event.target.closest(".cell[data-cell], [data-row], [data-all]");
    if (!button || this.closing.isUnderWay || this.#bounces(event, button)) return;
    const { cell: id, row } = button.dataset;
    if (this.part.isChoosing) this.part.tap(button.dataset);
    else if (id) this.#tapCell(this.book.cells.get(id));
    else this.#tapMany((cell) => !row || cell.name.startsWith(row));
  }

  #bounces({ detail, timeStamp }, button) {
    const { lastTap } = this;
    if (detail > 0 && button === lastTap.button && timeStamp - lastTap.at < BOUNCE_MS) return true;
    this.lastTap = { button, at: timeStamp };
    return false;
  }

  #tapCell(cell) {
    const why = this.book.tap(cell, this.mode);
    if (why) this.#explain(cell, why);
    else this.#acted([cell]);
  }

  #tapMany(wanted) {
    const { book, words } = this;
    const cells = book.tapMany([...book.cells.values()].filter(wanted), this.mode);
    if (cells.length) this.#acted(cells);
    else this.line.say(this.mode === "firm" && !book.living ? words.notWiltingRow : words.nothing);
  }

  // Why a tap changed nothing, and what to do instead.
  #explain(cell, why) {
    const { words, line } = this;
    const fit = { cell: cell.name, day: cell.base.since };
    if (why === "disputed") line.say(fill(words.disputed, fit), { cell, settles: true });
    if (why === "notWilting") line.say(fill(words.notWilting, fit));
    if (why !== "locked") return;
    const cause = line.nameOf(cell.base.cause);
    const since = fill(cell.state === "gone" ? words.goneSince : words.deadSince, fit);
    line.say(cause ? `${since} ${fill(words.because, { cause })}` : since, { cell, corrects: true });
  }

  #acted(cells) {
    this.#redraw(cells);
    if (this.book.living) this.#sayUntapped();
    else this.line.offerCauses(cells);
  }

  #redraw(cells) {
    this.paint.cells(cells);
    at("check-undo").disabled = this.book.actions.length === 0;
  }

  #undo() {
    if (this.closing.isUnderWay) return;
    this.part.end();
    this.#acted(this.book.undo());
  }

  // Tap the living instead, or again the dead.
  #turn() {
    if (this.closing.isUnderWay) return;
    this.book.living = !this.book.living;
    this.#open();
    this.#keep();
    this.#showLiving();
  }

  #showLiving() {
    const { living } = this.book;
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
    this.line.say(fill(this.words.notTapped, { n: this.book.untapped() }));
  }

  // What the closing carries: what was not tapped among the tapped living is dead; the cause for the whole check.
  #beforeClosing() {
    this.#open();
    if (this.book.living) {
      this.book.countUntappedDead();
      this.#keep();
      this.paint.all();
    }
    return { cause: this.kept.cause, ...this.book.sight() };
  }

  #answered({ uuid, status, reason }) {
    const cell = status === "refused" && this.book.refuse(uuid);
    if (!cell) return;
    this.#redraw([cell]);
    this.line.say(fill(this.words.refused, { cell: cell.name, reason }));
  }
}

const data = at("check-data");
if (data) new CheckPage(JSON.parse(data.textContent));
