// What this tablet keeps: parts (checks, marks, closings) until the server has them, the flats taken along, and a
// few notes. IndexedDB, and each part is flushed to the disk before it counts as kept. Knows no page.
//
// parts   {seq, uuid, noun, flat, part, waits}  what was said here, in order; `waits` goes when the server has it,
//                                               and so does `mark`, which tells the marks among what waits
// refused {uuid, noun, flat, part, reason, at}  what the server did not take, until a person decides
// flats   {code, sheet}                         how a flat stood when the server was last asked
// acts    {n, scope, flat, check, changes, is_undone}  what was done in a round, for taking it back
// meta    {key, value}                          device, token, skew_ms, who, round, check:<code>
import { newUuid } from "./ids.js";

const NAME = "takebook";
const VERSION = 1;
const CHANNEL = "takebook";

const make = (database) => {
  const parts = database.createObjectStore("parts", { keyPath: "seq", autoIncrement: true });
  parts.createIndex("uuid", "uuid", { unique: true });
  parts.createIndex("flat", "flat");
  parts.createIndex("waits", "waits"); // these two hold only what bears the property
  parts.createIndex("mark", "mark");
  database.createObjectStore("refused", { keyPath: "uuid" });
  database.createObjectStore("flats", { keyPath: "code" });
  database.createObjectStore("acts", { keyPath: "n" });
  database.createObjectStore("meta", { keyPath: "key" });
};

const waiting = ({ uuid, noun, flat, part }) => ({ uuid, noun, flat, part, waits: 1, ...(noun === "marks" && { mark: 1 }) });

const answered = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

const opened = () =>
  new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => make(request.result);
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new DOMException("blocked", "InvalidStateError"));
  });

export class Store extends EventTarget {
  // Events: "change" (something was kept, answered for, or refused), "elsewhere" (that happened in another tab).
  constructor() {
    super();
    this.database = null;
    this.channel = "BroadcastChannel" in self ? new BroadcastChannel(CHANNEL) : null;
    this.channel?.addEventListener("message", () => {
      this.dispatchEvent(new Event("elsewhere"));
      this.dispatchEvent(new Event("change"));
    });
  }

  // Keep parts, durably, and the notes and acts that go with them. Rejects where the tablet could not keep them.
  async say(parts, { notes = {}, acts = null } = {}) {
    const work = (stores) => {
      for (const one of parts) stores.parts.add(waiting(one));
      for (const [key, value] of Object.entries(notes)) stores.meta.put({ key, value });
      for (const act of acts?.put ?? []) stores.acts.put(act);
      for (const n of acts?.drop ?? []) stores.acts.delete(n);
    };
    await this.#write(["parts", "meta", "acts"], work, "strict");
    this.#tell();
  }

  // The acts of one round, or of the check of one flat; those of another are forgotten.
  async actsOf(scope) {
    const kept = await this.#read(["acts"], ({ acts }) => answered(acts.getAll()));
    const ours = kept.filter((act) => act.scope === scope);
    if (ours.length < kept.length) {
      const others = kept.filter((act) => act.scope !== scope);
      await this.#write(["acts"], ({ acts }) => others.forEach(({ n }) => acts.delete(n)));
    }
    return ours;
  }

  // The parts that wait longest, at most so many.
  waiting(most) {
    return this.#read(["parts"], ({ parts }) => answered(parts.index("waits").getAll(1, most)));
  }

  // {all, marks}: how many parts wait, and how many of them are marks.
  countWaiting() {
    return this.#read(["parts"], async ({ parts }) => {
      const [all, marks] = await Promise.all(["waits", "mark"].map((name) => answered(parts.index(name).count())));
      return { all, marks };
    });
  }

  // Whether the server has a part that was said here.
  isSent(uuid) {
    return this.#read(["parts"], async ({ parts }) => {
      const record = await answered(parts.index("uuid").get(uuid));
      return Boolean(record) && !record.waits;
    });
  }

  partsOf(code) {
    return this.#read(["parts"], ({ parts }) => answered(parts.index("flat").getAll(code)));
  }

  // What became of parts, by uuid: {status, reason}. The refused are set aside; the others wait no longer.
  async settle(records, results, notes = {}) {
    await this.#write(["parts", "refused", "meta"], ({ parts, refused, meta }) => {
      for (const [key, value] of Object.entries(notes)) meta.put({ key, value });
      for (const { uuid, seq, noun, flat, part } of records) {
        const result = results[uuid];
        if (!result) continue;
        if (result.status === "refused") {
          refused.put({ uuid, noun, flat, part, reason: result.reason ?? "", at: new Date().toISOString() });
          parts.delete(seq);
        } else parts.put({ seq, uuid, noun, flat, part, sent_at: Date.now() });
      }
    });
    this.#tell();
  }

  refused() {
    return this.#read(["refused"], ({ refused }) => answered(refused.getAll()));
  }

  // A person decided: send it once more, or let it go.
  async decide(uuid, sendsAgain) {
    await this.#write(["parts", "refused"], ({ parts, refused }) => {
      const request = refused.get(uuid);
      request.onsuccess = () => {
        const { noun, flat, part } = request.result ?? {};
        if (sendsAgain && part) parts.add(waiting({ uuid, noun, flat, part }));
        refused.delete(uuid);
      };
    });
    this.#tell();
  }

  sheet(code) {
    return this.#read(["flats"], async ({ flats }) => (await answered(flats.get(code)))?.sheet ?? null);
  }

  codes() {
    return this.#read(["flats"], ({ flats }) => answered(flats.getAllKeys()));
  }

  // Keep how flats stand, asked at a moment of Date.now(). What the server had before that is in the sheets.
  async keepSheets(sheets, askedAt) {
    await this.#write(["flats", "parts"], ({ flats, parts }) => {
      for (const sheet of sheets) {
        flats.put({ code: sheet.code, sheet });
        const cursor = parts.index("flat").openCursor(sheet.code);
        cursor.onsuccess = () => {
          const found = cursor.result;
          if (!found) return;
          if (!found.value.waits && found.value.sent_at < askedAt) found.delete();
          found.continue();
        };
      }
    });
  }

  async forgetFlats(kept = new Set()) {
    const codes = (await this.codes()).filter((code) => !kept.has(code));
    await this.#write(["flats"], ({ flats }) => codes.forEach((code) => flats.delete(code)));
  }

  get(key) {
    return this.#read(["meta"], async ({ meta }) => (await answered(meta.get(key)))?.value ?? null);
  }

  async put(key, value) {
    await this.#write(["meta"], ({ meta }) => (value === null ? meta.delete(key) : meta.put({ key, value })));
    this.#tell();
  }

  // Take or keep the turn at something for a while, where the browser has no locks. Resolves to whether it is ours.
  async turn(name, owner, span) {
    let isOurs = false;
    await this.#write(["meta"], ({ meta }) => {
      const request = meta.get(`turn:${name}`);
      request.onsuccess = () => {
        const { owner: other, until } = request.result?.value ?? { until: 0 };
        const left = until - Date.now();
        isOurs = other === owner || left <= 0 || left > span; // a clock that was set back must not hold it for days
        if (isOurs) meta.put({ key: `turn:${name}`, value: { owner, until: Date.now() + span } });
      };
    });
    return isOurs;
  }

  // The UUID of this browser, made once.
  async device() {
    let uuid = await this.get("device");
    if (uuid) return uuid;
    await this.#write(["meta"], ({ meta }) => {
      const request = meta.get("device");
      request.onsuccess = () => {
        uuid = request.result?.value ?? newUuid();
        meta.put({ key: "device", value: uuid });
      };
    });
    return uuid;
  }

  #read(names, work) {
    return this.#transact(names, { mode: "readonly" }, (stores) => work(stores));
  }

  // Only what was said must survive a battery pulled out: all else can be had again from the server.
  async #write(names, work, durability = "relaxed") {
    await this.#transact(names, { mode: "readwrite", durability }, (stores, transaction) => {
      try {
        work(stores);
      } catch (error) {
        transaction.abort(); // all of it, or nothing
        throw error;
      }
      return new Promise((resolve, reject) => {
        transaction.oncomplete = resolve;
        transaction.onabort = () => reject(transaction.error ?? new DOMException("aborted", "AbortError"));
      });
    });
  }

  // Browsers may cut the connection of a tab that lay in the background: then it is opened once more.
  async #transact(names, { mode, durability = "default" }, work) {
    for (const isLast of [false, true]) {
      try {
        this.database ??= await opened();
        const transaction = this.database.transaction(names, mode, { durability });
        const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
        return await work(stores, transaction);
      } catch (error) {
        this.database?.close();
        this.database = null;
        if (isLast || error?.name === "QuotaExceededError" || error?.name === "ConstraintError") throw error;
      }
    }
    throw new DOMException("no database", "InvalidStateError");
  }

  #tell() {
    this.channel?.postMessage("change");
    this.dispatchEvent(new Event("change"));
  }
}
