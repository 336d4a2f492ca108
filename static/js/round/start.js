// Starts the round that the page proposes (#round-data, #round-start): its flats are taken along, so that from then
// on the check needs no network. Without it the list leads to each check.
import { newRound } from "../check/round.js";
import { fill } from "../check/paint.js";
import { ask } from "../tablet/ask.js";
import { Store } from "../tablet/store.js";

const AT_ONCE = 40;
const WORKER_MS = 15000;
const at = (id) => document.getElementById(id);

class Start {
  constructor(data) {
    Object.assign(this, { data, words: data.words, store: new Store() });
    this.button = at("round-start");
    this.button?.addEventListener("click", () => this.#start());
    this.#showOpen();
  }

  // A round that is under way on this tablet comes first.
  async #showOpen() {
    const round = await this.store.get("round").catch(() => null);
    const host = at("round-open");
    host.hidden = !round?.is_open;
    if (host.hidden) return;
    const text = document.createElement("p");
    const link = document.createElement("a");
    const fit = { title: round.title, done: Object.keys(round.done).length, all: round.codes.length };
    text.textContent = `${fill(this.words.isOpen, fit)} ${this.words.replaces}`;
    link.className = "button";
    link.href = `/${round.at}/check`;
    link.textContent = this.words.goOn;
    host.className = "notice";
    host.dataset.kind = "info";
    host.replaceChildren(text, link);
  }

  async #start() {
    if (this.button.disabled) return;
    this.#busy(true);
    const why = await this.#take().catch((error) => this.#whyNot(error));
    if (!why) return location.assign(`/${this.first}/check`);
    this.#busy(false);
    this.#say(why);
  }

  #whyNot(error) {
    return error?.name === "QuotaExceededError" ? this.words.full : this.words.noStore;
  }

  // Take everything along. Returns why that failed, or "".
  async #take() {
    const { data, store, words } = this;
    const device = await store.device();
    const known = await ask(data.device, { method: "POST", body: { device } });
    if (known.status === 401 || known.data.error === "csrf") return words.login;
    if (known.status !== 200) return words.failed;
    await store.put("token", known.data.token);
    await store.put("who", known.data.who);
    const taken = await this.#fetchSheets();
    if (taken === null) return words.failed;
    if (!taken.length) return words.failed;
    await store.forgetFlats(new Set(taken));
    this.first = taken[0];
    await this.#keepPages();
    await store.put("round", newRound(data.title, taken));
    navigator.storage?.persist?.().catch(() => {});
    return "";
  }

  async #fetchSheets() {
    const { codes, api, words } = { ...this.data, words: this.words };
    const taken = [];
    for (let from = 0; from < codes.length; from += AT_ONCE) {
      this.#say(fill(words.taking, { n: taken.length, all: codes.length }));
      const some = codes.slice(from, from + AT_ONCE);
      const askedAt = Date.now();
      const { status, data } = await ask(`${api}?${some.map((code) => `code=${code}`).join("&")}`);
      if (status !== 200 || !data.flats) return null;
      await this.store.keepSheets(data.flats, askedAt);
      const here = new Set(data.flats.map(({ code }) => code));
      taken.push(...some.filter((code) => here.has(code)));
    }
    return taken;
  }

  // Keep the page on which a check opens without network, where the browser can keep pages.
  async #keepPages() {
    const registration = await navigator.serviceWorker?.getRegistration().catch(() => null);
    if (!registration) return;
    const late = new Promise((resolve) => setTimeout(resolve, WORKER_MS));
    const ready = await Promise.race([navigator.serviceWorker.ready, late]);
    if (!ready?.active) return;
    const channel = new MessageChannel();
    const answer = new Promise((resolve) => {
      channel.port1.onmessage = resolve;
      setTimeout(resolve, WORKER_MS);
    });
    ready.active.postMessage({ type: "keep", urls: [this.data.check] }, [channel.port2]);
    await answer;
  }

  #busy(isBusy) {
    this.button.disabled = isBusy;
    this.button.toggleAttribute("aria-busy", isBusy);
  }

  #say(text) {
    at("round-said").textContent = text;
  }
}

const data = at("round-data");
if (data) new Start(JSON.parse(data.textContent));
