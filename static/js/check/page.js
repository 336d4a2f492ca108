// The check: tap a cell for what is the matter with it. Brings together the flat at hand, the store and the page;
// the next flat of a round is opened here without loading a page.
import { ask } from "../tablet/ask.js";
import { readCode, spoken } from "../codes.js";
import { Sender } from "../tablet/sender.js";
import { Store } from "../tablet/store.js";
import { Acting } from "./acting.js";
import { Acts } from "./acts.js";
import { Closing } from "./close.js";
import { Drawing } from "./draw.js";
import { Follow } from "./follow.js";
import { Head } from "./head.js";
import { noteOf, OneCheck, takeUp } from "./one.js";
import { fill } from "./paint.js";
import { Refused } from "./refused.js";
import { Round } from "./round.js";
import { RoundBar } from "./roundbar.js";
import { SavedLine } from "./saved.js";

const at = (id) => document.getElementById(id);

// When this page was asked for: what the server had before that is in its sheet.
const askedAt = () => performance.timeOrigin + (performance.getEntriesByType("navigation")[0]?.requestStart ?? 0);

class CheckPage {
  constructor(data) {
    Object.assign(this, { data, words: data.words, one: null, round: null });
    this.store = new Store();
    this.sender = new Sender(this.store, data.urls.marks);
    this.#makeParts();
    this.#listen();
  }

  #makeParts() {
    const { words, store, sender } = this;
    this.head = new Head(words);
    this.saved = new SavedLine({ store, sender, words });
    this.refused = new Refused({ store, sender, words });
    this.closing = new Closing({ onClose: () => this.#close(), onNothing: () => this.acting.sayNothingSeen() });
    this.acting = new Acting({
      words,
      drawing: new Drawing(at("flat-host"), words),
      isBusy: () => !this.one || this.closing.isBusy,
      onNext: () => this.one && this.closing.ask(),
      saved: this.saved,
      go: (code) => this.go(code),
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

  #listen() {
    this.sender.addEventListener("answer", ({ detail }) => this.#answered(detail));
    this.store.addEventListener("elsewhere", () => this.#heardElsewhere());
    window.addEventListener("popstate", () => this.#begin());
    document.addEventListener("scanned", ({ detail }) => this.#code(detail.code));
  }

  // The flat that the address names, the one at hand in the round, or none.
  async begin() {
    const { data } = this;
    if (data.sheet) await this.store.put("who", data.who).catch(() => {});
    const who = data.sheet ? data.who : ((await this.store.get("who").catch(() => null)) ?? data.who);
    this.worker = who.worker;
    this.head.who(who); // a page that was kept shows who was working then
    if (data.sheet) await this.store.keepSheets([data.sheet], askedAt()).catch(() => {});
    await this.#begin();
  }

  async #begin() {
    const kept = await this.store.get("round").catch(() => null);
    const named = readCode(location.pathname.split("/")[1] ?? "");
    const code = named || (kept?.is_open ? kept.at : "");
    if (code && (await this.open(code))) {
      const isMeant = named || ["/check", "/round"].includes(location.pathname);
      if (!isMeant) this.acting.say(this.words.noPage);
      return;
    }
    await this.bar.nowhere(this.store);
    if (code) this.bar.say(fill(this.words.notHere, { code: spoken(code) }));
  }

  // Open another flat and say so in the address.
  async go(code) {
    const isOpen = await this.open(code, { isNext: true });
    if (!isOpen) return false;
    history.pushState(null, "", `/${code}/check`);
    return true;
  }

  // Returns false where this tablet knows nothing of the flat and cannot ask.
  async open(code, { isNext = false } = {}) {
    const { data, store } = this;
    const sheet = data.sheet?.code === code ? data.sheet : await this.#sheet(code);
    const goesOn = data.goes_on;
    Object.assign(data, { sheet: null, goes_on: "" }); // from now on what is kept is newer
    if (!sheet) return false;
    const told = await store.partsOf(code).catch(() => []);
    const round = Round.of(await store.get("round").catch(() => null), code);
    const kept = await store.get(noteOf(code)).catch(() => null);
    const own = takeUp({ sheet, told, kept, goesOn, round });
    const scope = round?.data.id ?? own.uuid;
    if (this.acts?.scope !== scope) this.acts = new Acts(await store.actsOf(scope).catch(() => []), scope);
    if (round) {
      round.data.at = code;
      await store.put("round", round.data).catch(() => {});
    }
    this.round = round;
    const { sender, acts, worker } = this;
    this.one = new OneCheck({ store, sender, acts, sheet, told, own, worker });
    this.#opened(sheet, { own, isNext, goesOn });
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

  #opened(sheet, { own, isNext, goesOn }) {
    this.head.show(sheet, own);
    this.bar.show(this.round, sheet.code);
    this.saved.closes = false;
    this.closing.open(this.one.book, isNext);
    this.acting.open(this.one);
    this.follow.watch(sheet, goesOn);
    if (this.round) document.querySelector(".page-head").scrollIntoView(); // the flat has the screen to itself
    else if (isNext) window.scrollTo(0, 0);
  }

  // Close the check; in a round the next flat comes, else the flat's page as soon as the server knows.
  async #close() {
    const { one, round } = this;
    this.closing.busy(true);
    this.acting.closes();
    const { alive, dead } = one.book.count();
    round?.close(one.code, { alive, dead });
    this.saved.keeps();
    const uuid = await one.close(round ? { round: round.data } : {});
    this.saved.kept(uuid !== null);
    if (uuid === null) {
      round?.open(one.code);
      this.closing.busy(false);
      return this.acting.say(this.words.notKeptWhat);
    }
    if (round) return this.#next();
    this.acting.show();
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
    if (!(await this.go(code))) this.acting.say(fill(this.words.notHere, { code: spoken(code) }));
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
    if (!code.startsWith("F")) return this.#wrongCode(fill(this.words.noFlat, { code: text }));
    if (this.one?.code === code) return this.bar.show(this.round, code);
    if (!(await this.#sheet(code))) return this.#wrongCode(fill(this.words.notHere, { code: spoken(code) }));
    if (this.round) {
      this.round.take(code);
      await this.store.put("round", this.round.data).catch(() => {});
    }
    await this.go(code);
  }

  #wrongCode(text) {
    this.bar.say(text);
    if (this.one) this.acting.say(text);
  }

  async #heard(sheet, askedAt) {
    await this.store.keepSheets([sheet], askedAt).catch(() => {});
    if (this.one?.code !== sheet.code) return;
    await this.acting.hear(sheet);
    if (this.one.code === sheet.code) this.head.hints(sheet, this.one.own);
  }

  // Another tab said something of the flat, or sent what was said here.
  async #heardElsewhere() {
    if (!this.one) return;
    if (this.closingUuid && (await this.store.isSent(this.closingUuid).catch(() => false))) this.#leave();
    else await this.acting.hear(this.one.sheet);
  }

  #leave() {
    location.assign(`${this.one.sheet.url}?closed=${this.one.own.uuid}`);
  }

  async #answered({ uuid, noun, flat, status, reason }) {
    if (uuid === this.closingUuid && status !== "refused") this.#leave();
    if (status !== "refused") return;
    if (uuid === this.closingUuid) {
      this.closingUuid = null;
      this.closing.busy(false);
      await this.one.reopen();
      this.acting.say(reason);
    } else if (noun === "marks" && flat === this.one?.code) this.acting.refused(uuid, reason);
  }
}

const data = at("check-data");
if (data) new CheckPage(JSON.parse(data.textContent)).begin();
