// A round: flats in walking order, on this tablet alone. Which is next, which were closed or skipped.
import { newUuid } from "../tablet/ids.js";

export const newRound = (title, codes) => ({
  id: newUuid(),
  title,
  codes,
  done: {}, // code: {dead, alive} when it was closed
  skipped: [], // in the order they were skipped
  at: codes[0],
  is_open: true,
  began_at: new Date().toISOString(),
});

export class Round {
  // The round kept on this tablet, if it is open and this flat is in it; else null.
  static of(kept, code) {
    return kept?.is_open && kept.codes.includes(code) ? new Round(kept) : null;
  }

  constructor(data) {
    this.data = data;
  }

  get size() {
    return this.data.codes.length;
  }

  get closed() {
    return this.data.codes.filter((code) => code in this.data.done).length;
  }

  isClosed(code) {
    return code in this.data.done;
  }

  isSkipped(code) {
    return this.data.skipped.includes(code) && !this.isClosed(code);
  }

  close(code, count) {
    this.data.done[code] = count;
    this.data.skipped = this.data.skipped.filter((one) => one !== code);
  }

  // It could not be closed after all.
  open(code) {
    delete this.data.done[code];
  }

  skip(code) {
    if (!this.isClosed(code)) this.data.skipped = [...this.data.skipped.filter((one) => one !== code), code];
  }

  // A flat that was scanned and is not in the round comes into it, after the one at hand.
  take(code) {
    const { codes, at } = this.data;
    if (!codes.includes(code)) codes.splice(codes.indexOf(at) + 1, 0, code);
  }

  // The next in the order of the walk, from the flat at hand on and then from the beginning; the skipped come last.
  next() {
    const { codes, at, skipped } = this.data;
    const here = codes.indexOf(at);
    const ahead = [...codes.slice(here + 1), ...codes.slice(0, here)];
    const open = (code) => !this.isClosed(code) && code !== at;
    return ahead.find((code) => open(code) && !skipped.includes(code)) ?? skipped.find(open) ?? null;
  }

  // Dead found so far, and in how many flats.
  found() {
    const counts = Object.values(this.data.done);
    return { dead: counts.reduce((sum, { dead }) => sum + dead, 0), flats: counts.filter(({ dead }) => dead).length };
  }
}
