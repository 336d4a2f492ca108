// The service worker: lets the check go on where there is no network. The view that serves it (views/worker.py)
// puts `self.takebook` above it: its version, the files that the check loads, and addresses.
//
// A version has two caches: its files, and the pages that were taken along. Pages that a new version could not
// fetch anew (nobody is logged in) stay with the files of the version they came from.
const { version, files, large, statics, shell, offline, never, quick } = self.takebook;
const FILES = "takebook-files-";
const PAGES = "takebook-pages-";
const WHO = "/takebook-who"; // no address of the program: for whom the pages were taken along
const QUICK_MS = 4000; // for what can be shown without the server
const SLOW_MS = 20000; // other pages may take their time: a report of ten seasons does
const NO_ANSWER = new Set([502, 503, 504]);
const HASHED = /\.[0-9a-f]{12}\.[^/]+$/; // a name that holds the hash of the content is good for ever

const pathOf = (url) => new URL(url, location.origin).pathname;
const isFile = (url) => pathOf(url).startsWith(statics);
const matches = (patterns, url) => patterns.some((pattern) => new RegExp(pattern).test(url.pathname + url.search));
const versionOf = (name) => name.slice(FILES.length); // both beginnings are equally long

// Files

const fetched = async (url, cache) => {
  const answer = await fetch(url, { cache });
  if (!answer.ok || answer.redirected || answer.type !== "basic") throw new Error(`${url}: ${answer.status}`);
  return answer;
};

const addFile = async (url) => {
  const cache = await caches.open(FILES + version);
  const hashed = HASHED.test(url);
  const known = hashed && (await caches.match(url)); // an update loads only what has changed
  await cache.put(url, known || (await fetched(url, hashed ? "default" : "reload")));
};

// What a page, a sheet or a module names. What stands under /vendor/ is large and loaded only when it is needed.
const NAMES = [
  /\b(?:src|href)="([^"]+)"/g,
  /\burl\(["']?([^"')]+)["']?\)/g,
  /^\s*(?:import|export)\b(?:[\w*{}\s,$]+\bfrom)?\s*["'](\.{0,2}\/[^"']+)["']/gm,
  /\bimport\(\s*["'](\.{0,2}\/[^"']+)["']\s*\)/g,
];
const named = (text, base) =>
  NAMES.flatMap((pattern) => [...text.matchAll(pattern)].map(([, name]) => pathOf(new URL(name, base)))).filter(
    (path) => isFile(path) && !path.includes("/vendor/"),
  );

const addAllNamed = async (text, base, seen = new Set()) => {
  const fresh = named(text, base).filter((path) => !seen.has(path));
  for (const path of fresh) seen.add(path);
  await Promise.all(
    fresh.map(async (path) => {
      if (!(await caches.match(path))) await addFile(path);
      if (!/\.(?:js|css)$/.test(path)) return;
      const file = await caches.match(path);
      await addAllNamed(await file.text(), new URL(path, location.origin), seen);
    }),
  );
};

const file = async (event) => {
  const { request } = event;
  if (!HASHED.test(pathOf(request.url))) {
    return fetch(request).catch(async (fault) => (await caches.match(request)) ?? Promise.reject(fault));
  }
  const known = await caches.match(request);
  if (known) return known;
  const answer = await fetch(request);
  if (answer.ok) {
    const copy = answer.clone();
    event.waitUntil(caches.open(FILES + version).then((cache) => cache.put(request, copy)));
  }
  return answer;
};

// Pages that were taken along

const pageCaches = async () => {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGES));
  return names.sort((one, other) => (other === PAGES + version) - (one === PAGES + version)); // our own first
};

const kept = async (path) => {
  for (const cacheName of await pageCaches()) {
    const page = await caches.match(path, { cacheName, ignoreVary: true });
    if (page) return page;
  }
  return undefined;
};

const pathsIn = async (name) => {
  const requests = await (await caches.open(name)).keys();
  return requests.map(({ url }) => pathOf(url)).filter((path) => path !== WHO);
};

const keptPaths = async () => [...new Set((await Promise.all((await pageCaches()).map(pathsIn))).flat())];

const keepOne = async (url) => {
  if (isFile(url)) return addFile(url);
  const answer = await fetched(url, "reload");
  if (!answer.headers.get("Content-Type")?.startsWith("text/html")) throw new Error(`${url}: no page`);
  await addAllNamed(await answer.clone().text(), answer.url); // the server may be newer than this worker
  await (await caches.open(PAGES + version)).put(pathOf(url), answer);
};

const keep = async ({ urls }) => {
  const failed = [];
  for (const url of urls) await keepOne(url).catch(() => failed.push(url));
  await dropOlder();
  return { ok: failed.length === 0, failed };
};

// What reads labels goes along with a round, where the browser cannot do that itself. The round does not wait for it.
const keepLarge = async () => {
  if (!("BarcodeDetector" in self)) await Promise.all(large.map(addFile)).catch(() => null);
};

const forget = async () => {
  await Promise.all((await pageCaches()).map((name) => caches.delete(name)));
  await dropOlder();
};

// Pages show who is logged in and who is working. Another login's are dropped; of another worker's, fresh ones
// are fetched where that is possible.
const who = async ({ account, worker }) => {
  const known = await (await kept(WHO))?.json();
  if (known?.account === account && known.worker === worker) return;
  if (known && known.account !== account) await forget();
  await sayWho(new Response(JSON.stringify({ account, worker })));
  if (known?.account === account) await keep({ urls: await keptPaths() });
};

const sayWho = async (answer) => (await caches.open(PAGES + version)).put(WHO, answer);

// Drop other versions' caches, but for those that hold a page which this version does not have. While a newer
// version is under way or waits, its caches look like those of any other.
const dropOlder = async () => {
  if (self.registration.installing || self.registration.waiting) return;
  const own = new Set(await pathsIn(PAGES + version));
  const needed = new Set([version]);
  for (const name of await pageCaches()) {
    if ((await pathsIn(name)).some((path) => !own.has(path))) needed.add(versionOf(name));
  }
  const ours = (await caches.keys()).filter((name) => name.startsWith(FILES) || name.startsWith(PAGES));
  await Promise.all(ours.filter((name) => !needed.has(versionOf(name))).map((name) => caches.delete(name)));
};

// Answers

const within = (promise, limit) =>
  new Promise((resolve, reject) => {
    const clock = setTimeout(() => reject(new Error("too slow")), limit);
    promise.then(resolve, reject).finally(() => clearTimeout(clock));
  });

const page = async ({ request }, url) => {
  const instead = await kept(shell);
  const limit = instead && matches(quick, url) ? QUICK_MS : SLOW_MS;
  const answer = await within(fetch(request), limit).catch(() => null);
  if (answer && !NO_ANSWER.has(answer.status)) return answer;
  return (await kept(shell)) ?? (await caches.match(offline)) ?? answer ?? Response.error();
};

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin || request.headers.has("HX-Request")) return;
  if (isFile(request.url)) event.respondWith(file(event));
  else if (request.mode === "navigate" && !matches(never, url)) event.respondWith(page(event, url));
});

const install = async () => {
  await Promise.all([...files, offline].map(addFile));
  // What was taken along is fetched as this version shows it, with what it loads.
  for (const path of await keptPaths()) await keepOne(path).catch(() => null);
  const known = await kept(WHO);
  if (known) await sayWho(known);
};

self.addEventListener("install", (event) => event.waitUntil(install()));

self.addEventListener("activate", (event) => event.waitUntil(dropOlder().then(() => self.clients.claim())));

const acts = { keep, forget, who, version: () => ({ version }), "take-over": () => self.skipWaiting() };
let last = Promise.resolve(); // one after the other: a page must not be kept behind the back of a "forget"

self.addEventListener("message", (event) => {
  const act = acts[event.data?.type];
  if (!act) return;
  const done = last.then(() => act(event.data));
  last = done.catch(() => null);
  event.waitUntil(
    done.then((answer) => {
      event.ports[0]?.postMessage(answer);
      return act === keep && answer.ok && keepLarge();
    }),
  );
});
