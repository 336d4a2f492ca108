// Sends what waits in the store, oldest first, in batches, until the server has named each part. Knows no page.
//
// From one tab only, where tabs can agree. Sending twice is harmless: the server knows each part by its UUID.
import { ask } from "./ask.js";
import { newUuid } from "./ids.js";

const DEBOUNCE_MS = 100;
const MOST_PARTS = 100;
const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 60000;
const SLOW_PAUSE_MS = 15000; // where only a person can help: a login, a permission
const LOOK_MS = 20000;
const LOCK = "takebook-sender";
const TURN_MS = 20000; // longer than an answer is waited for
const TAKEN = new Set(["stored", "known"]);
const TROUBLES = { 0: "lost", 400: "malformed", 401: "login", 403: "forbidden", 507: "full" };

export class Sender extends EventTarget {
  // Events: "change" (see `trouble`), "answer" (detail: {uuid, noun, flat, status, reason}).
  constructor(store, url) {
    super();
    Object.assign(this, { store, url });
    this.trouble = ""; // "", "lost", "login", "forbidden", "malformed", "full"
    this.failures = 0;
    this.most = MOST_PARTS;
    this.timer = 0;
    this.isSending = false;
    this.tab = newUuid();
    store.addEventListener("elsewhere", () => this.soon()); // said in another tab; whose turn it is, sends
    for (const event of ["focus", "online", "pageshow"]) window.addEventListener(event, () => this.hurry());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.hurry());
    setInterval(() => this.timer || this.#later(0), LOOK_MS);
    this.#later(0);
  }

  // Something was just kept.
  soon() {
    if (!this.trouble && !this.timer) this.#later(DEBOUNCE_MS);
  }

  hurry() {
    this.#later(0);
  }

  // What this tablet cannot keep. Resolves to whether the server has all of it now.
  async sendAtOnce(records) {
    const { status, data } = await this.#post(records);
    return status === 200 && records.every(({ uuid }) => TAKEN.has(data.results?.[uuid]?.status));
  }

  #later(pause) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#run(), pause);
  }

  async #run() {
    this.timer = 0;
    if (this.isSending) return;
    this.isSending = true;
    let isMore = false;
    try {
      if ("locks" in navigator) {
        await navigator.locks.request(LOCK, { ifAvailable: true }, async (lock) => {
          if (lock) isMore = await this.#send();
        });
      } else if (await this.store.turn(LOCK, this.tab, TURN_MS)) isMore = await this.#send();
    } catch {
      this.#fail("lost");
      isMore = true;
    } finally {
      this.isSending = false;
    }
    this.dispatchEvent(new Event("change"));
    if (isMore) this.#later(this.trouble ? this.#pause() : 0);
  }

  // Send one batch; returns whether something is left to send.
  async #send() {
    const records = await this.store.waiting(this.most);
    if (!records.length) {
      this.trouble = this.trouble === "lost" ? "" : this.trouble;
      return false;
    }
    const answer = await this.#post(records);
    const { results } = answer.data;
    if (answer.status === 200 && results && records.some(({ uuid }) => uuid in results)) {
      await this.#take(records, answer);
      return true;
    }
    if (answer.status >= 500 && answer.status !== 503) this.most = Math.max(1, Math.floor(this.most / 2));
    this.#fail(answer.data.error === "csrf" ? "login" : (TROUBLES[answer.status] ?? "lost"), answer.retryAfter);
    return true;
  }

  async #post(records) {
    const of = (noun) => records.filter((record) => record.noun === noun).map(({ part }) => part);
    const token = (await this.store.get("token").catch(() => null)) ?? "";
    const device = await this.store.device().catch(() => null);
    const body = { v: 1, device, worker: null, sent_at: new Date().toISOString() };
    for (const noun of ["checks", "marks", "closings", "numbers"]) body[noun] = of(noun);
    const sentAt = Date.now();
    let answer = await ask(this.url, { method: "POST", body, token });
    // A login whose CSRF cookie is lost stands in the way of the token, which is enough without it.
    if (answer.data.error === "csrf" && token) answer = await ask(this.url, { method: "POST", body, token, credentials: "omit" });
    return { sentAt, ...answer };
  }

  async #take(records, { data: { results, server_time: time }, sentAt }) {
    await this.store.settle(records, results, time ? { skew_ms: Date.parse(time) - sentAt } : {});
    this.trouble = "";
    this.failures = 0;
    this.most = MOST_PARTS;
    for (const { uuid, noun, flat } of records) {
      if (!(uuid in results)) continue;
      this.dispatchEvent(new CustomEvent("answer", { detail: { uuid, noun, flat, ...results[uuid] } }));
    }
  }

  #fail(trouble, retryAfter = 0) {
    this.trouble = trouble;
    this.failures += 1;
    this.least = retryAfter * 1000;
  }

  // Growing, and spread out, so that forty tablets do not all come at once.
  #pause() {
    if (this.trouble !== "lost" && this.trouble !== "full") return SLOW_PAUSE_MS;
    const longest = Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** Math.min(this.failures - 1, 10));
    return Math.max(this.least ?? 0, longest * (0.5 + Math.random() / 2));
  }
}
