// The check of one flat that is made here: takes up what was begun, keeps what is said, closes it.
import { newUuid } from "../tablet/ids.js";
import { Book } from "./book.js";

const dayOf = (instant) => new Date(instant).toDateString();

export const noteOf = (code) => `check:${code}`;

// A check of today that this browser began is taken up again, or the one that the address names; else a new one
// waits for the first tap. One that was closed here is gone on with only within the round that closed it.
export const takeUp = ({ sheet, told, kept, goesOn, round }) => {
  const wanted = goesOn || kept?.uuid;
  const stored = sheet.opened.includes(wanted) ? sheet.checks.find(({ uuid }) => uuid === wanted) : null;
  const isOurs = kept?.uuid === wanted;
  if (stored && isOurs && !kept.closed) return { ...kept, is_said: true };
  if (stored) {
    const { uuid, opened_at, cause = "", part = null } = stored;
    return { uuid, opened_at, cause, part, living: false, closed: false, is_said: true, round: round?.data.id ?? null };
  }
  const isToday = Boolean(kept?.opened_at) && dayOf(kept.opened_at) === dayOf(Date.now());
  const isHere = told.some(({ noun, uuid }) => noun === "checks" && uuid === wanted);
  const goes = kept?.closed ? round !== null && kept.round === round.data.id : isHere;
  if (isOurs && isToday && goes) return { ...kept };
  const fresh = { uuid: newUuid(), opened_at: null, cause: "", part: null, living: false, closed: false };
  return { ...fresh, is_said: false, round: round?.data.id ?? null };
};

export class OneCheck {
  constructor({ store, sender, acts, sheet, told, own, worker }) {
    Object.assign(this, { store, sender, acts, sheet, own, worker });
    this.book = new Book({ sheet, own, told, worker });
  }

  get code() {
    return this.sheet.code;
  }

  // The server, or another tab, has news. Returns the cells that are different now.
  async update(sheet) {
    this.sheet = sheet;
    const told = await this.store.partsOf(this.code).catch(() => []);
    return this.book.update(sheet, told);
  }

  // Keep the marks of an act. Resolves to whether they are kept, here or at the server.
  async keep(act, history = null) {
    const acts = history ? this.acts.moved(history === "redo") : this.acts.did(this.code, act);
    const { marks } = act;
    const isKept = await this.#say(marks.map((mark) => ["marks", mark]), { acts });
    if (isKept) this.book.kept(marks);
    else {
      for (const { uuid } of marks) this.book.forget(uuid);
      if (history) this.acts.moved(history === "undo");
      else this.acts.lose();
    }
    return isKept;
  }

  // What the check is besides its marks: which part is seen, what a tap means, the cause for all of it.
  note() {
    this.#open();
    return this.store.put(noteOf(this.code), this.#note()).catch(() => {});
  }

  // Close the check. Returns the UUID of the closing, or null where it could not be kept.
  // notes: what else is to be kept with it.
  async close(notes = {}) {
    const act = this.book.living ? this.book.countUntappedDead() : null;
    const closing = {
      uuid: newUuid(),
      check: this.own.uuid,
      kind: "close",
      replaces: [],
      reason: "",
      worker: this.worker,
      known: this.book.knownMarks(),
      cause: this.own.cause,
      at: new Date().toISOString(),
      ...this.book.sight(),
    };
    const acts = act && this.acts.did(this.code, act);
    const marks = act?.marks ?? [];
    this.own.closed = true;
    const parts = [...marks.map((mark) => ["marks", mark]), ["closings", closing]];
    const isKept = await this.#say(parts, { acts, notes });
    if (isKept) this.book.kept(marks);
    else {
      this.own.closed = false;
      for (const { uuid } of marks) this.book.forget(uuid);
      if (act) this.acts.lose();
    }
    return isKept ? closing.uuid : null;
  }

  // The server did not take the closing: the check is open still.
  reopen() {
    this.own.closed = false;
    return this.note();
  }

  #open() {
    this.own.opened_at ??= new Date().toISOString();
  }

  #note() {
    const { book, own } = this;
    return { ...own, living: book.living, part: book.part && [...book.part] };
  }

  // The first thing said opens the check.
  async #say(said, { acts = null, notes = {} } = {}) {
    this.#open();
    const { own, code, worker } = this;
    const check = { uuid: own.uuid, flat: code, opened_at: own.opened_at, kind: "whole", seen_places: null, cause: "", worker };
    const all = own.is_said ? said : [["checks", check], ...said];
    const parts = all.map(([noun, part]) => ({ uuid: part.uuid, noun, flat: code, part }));
    const wasSaid = own.is_said;
    own.is_said = true;
    try {
      await this.store.say(parts, { acts, notes: { [noteOf(code)]: this.#note(), ...notes } });
      this.sender.soon();
      return true;
    } catch {
      const isTaken = await this.#sendAtOnce(parts);
      own.is_said = wasSaid || isTaken;
      return isTaken;
    }
  }

  // The tablet cannot keep it (it is full, or keeps nothing): the server is the only place left. The check goes
  // along where it still waits here: without it the server would not know what these marks are of.
  async #sendAtOnce(parts) {
    const told = await this.store.partsOf(this.code).catch(() => []);
    const check = told.filter(({ uuid, waits }) => uuid === this.own.uuid && waits);
    return this.sender.sendAtOnce([...check, ...parts]);
  }
}
