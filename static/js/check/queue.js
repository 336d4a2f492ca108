// Sends marks to the server in order, in batches, until each is answered for. Knows no page.
//
// Kept in memory. Nothing leaves the queue before the server has named it in its answer; sending twice is harmless.
const DEBOUNCE_MS = 300;
const MOST_MARKS = 100;
const GIVE_UP_MS = 15000;
const FIRST_PAUSE_MS = 1000;
const LONGEST_PAUSE_MS = 30000;
const LOGIN_PAUSE_MS = 10000;
const KEEPALIVE_BYTES = 60000;

const csrfToken = () => {
  const cookie = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
  if (cookie) return decodeURIComponent(cookie.slice("csrftoken=".length));
  return JSON.parse(document.body.getAttribute("hx-headers") ?? "{}")["X-CSRFToken"] ?? "";
};

export class Queue extends EventTarget {
  // Events: "change" (something was added, sent or refused; see `trouble`), "answer" (detail: uuid, status, reason).
  constructor({ url, device, worker, check }) {
    super();
    Object.assign(this, { url, device, worker, check });
    this.isCheckKnown = false;
    this.marks = [];
    this.closing = null;
    this.trouble = ""; // "", "lost", "login", "forbidden", "malformed"
    this.failures = 0;
    this.timer = 0;
    this.isSending = false;
    for (const event of ["focus", "online", "pageshow"]) window.addEventListener(event, () => this.hurry());
    window.addEventListener("pagehide", () => this.#send());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.hurry());
    window.addEventListener("beforeunload", (event) => this.isWaiting && event.preventDefault());
  }

  get isWaiting() {
    return this.marks.length > 0 || this.closing !== null;
  }

  add(mark) {
    this.marks.push(mark);
    this.#changed();
    if (!this.trouble) this.#later(DEBOUNCE_MS);
  }

  close(closing) {
    this.closing = closing;
    this.#changed();
    this.hurry();
  }

  hurry() {
    if (this.isWaiting) this.#later(0);
  }

  #later(pause) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#send(), pause);
  }

  #batch() {
    const marks = this.marks.slice(0, MOST_MARKS);
    const isLast = marks.length === this.marks.length;
    return {
      v: 1,
      device: this.device,
      worker: this.worker,
      sent_at: new Date().toISOString(),
      checks: this.isCheckKnown ? [] : [this.check],
      marks,
      closings: isLast && this.closing ? [this.closing] : [],
    };
  }

  async #send() {
    if (this.isSending || !this.isWaiting) return;
    this.isSending = true;
    clearTimeout(this.timer);
    try {
      const answer = await this.#post(JSON.stringify(this.#batch()));
      this.#read(answer.status, await answer.json().catch(() => ({})));
    } catch {
      this.#fail("lost");
    } finally {
      this.isSending = false;
    }
    this.#changed();
    if (this.isWaiting) this.#later(this.trouble ? this.#pause() : 0);
  }

  #post(body) {
    return fetch(this.url, {
      method: "POST",
      body,
      headers: { "Content-Type": "application/json", "X-CSRFToken": csrfToken() },
      credentials: "same-origin",
      redirect: "manual",
      keepalive: body.length < KEEPALIVE_BYTES,
      signal: AbortSignal.timeout(GIVE_UP_MS),
    });
  }

  #read(status, { results, error }) {
    if (status === 200 && results && this.#take(results)) {
      this.trouble = "";
      this.failures = 0;
    } else if (status === 401 || error === "csrf") this.#fail("login");
    else if (status === 403) this.#fail("forbidden");
    else if (status === 400) this.#fail("malformed");
    else this.#fail("lost");
  }

  // Let go of what the answer names; false if it names nothing of ours.
  #take(results) {
    const named = (part) => part && part.uuid in results;
    const answered = [...this.marks.filter(named), ...[this.closing].filter(named)];
    if (named(this.check)) this.isCheckKnown = results[this.check.uuid].status !== "refused";
    this.marks = this.marks.filter((mark) => !named(mark));
    if (named(this.closing)) this.closing = null;
    for (const { uuid } of answered) {
      this.dispatchEvent(new CustomEvent("answer", { detail: { uuid, ...results[uuid] } }));
    }
    return answered.length > 0;
  }

  #fail(trouble) {
    this.trouble = trouble;
    this.failures += 1;
  }

  #pause() {
    if (this.trouble !== "lost") return LOGIN_PAUSE_MS;
    const longest = Math.min(LONGEST_PAUSE_MS, FIRST_PAUSE_MS * 2 ** (this.failures - 1));
    return longest * (0.5 + Math.random() / 2);
  }

  #changed() {
    this.dispatchEvent(new Event("change"));
  }
}
