// Registers the service worker, tells it who is logged in, and tells in #update of a new version. That one is taken
// with the button there, never while a round is open on this tablet or marks wait.
const DATABASE = "takebook";
const line = document.getElementById("update");
const login = document.querySelector("[data-logout]");
let registration = null;
let isWanted = false;

const tell = (worker, message) => worker?.postMessage(message);

// Resolves to the tablet's database, or to null where there is none: none is made here.
const openDatabase = () =>
  new Promise((resolve, reject) => {
    const asked = indexedDB.open(DATABASE);
    asked.onupgradeneeded = () => asked.transaction.abort();
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => (asked.error.name === "AbortError" ? resolve(null) : reject(asked.error));
  });

const asked = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

const isRoundOpen = async (database) => {
  if (!database.objectStoreNames.contains("meta")) return false;
  const round = await asked(database.transaction("meta").objectStore("meta").get("round"));
  return Boolean(round?.value?.is_open);
};

const doMarksWait = async (database) => {
  if (!database.objectStoreNames.contains("parts")) return false;
  return (await asked(database.transaction("parts").objectStore("parts").index("waits").count())) > 0;
};

const isAtWork = async () => {
  const database = await openDatabase();
  if (!database) return false;
  try {
    return (await isRoundOpen(database)) || (await doMarksWait(database));
  } finally {
    database.close();
  }
};

const show = async () => {
  if (!line) return;
  const waits = Boolean(registration.waiting && registration.active); // the very first one waits for nobody
  if (!waits) {
    line.hidden = true;
    return;
  }
  const atWork = await isAtWork().catch(() => true); // what cannot be read may be a round
  line.querySelector("[data-ready]").hidden = atWork;
  line.querySelector("[data-waits]").hidden = !atWork;
  line.querySelector("button").hidden = atWork;
  line.hidden = false;
};

const watch = () => {
  registration.installing?.addEventListener("statechange", show);
};

const take = async () => {
  if (await isAtWork().catch(() => true)) return show();
  isWanted = true;
  tell(registration.waiting, { type: "take-over" });
};

const start = async () => {
  // Refused where the certificate is not trusted: everything but the work without network goes on.
  registration = await navigator.serviceWorker.register("/sw.js").catch(() => null);
  if (!registration) return;
  registration.addEventListener("updatefound", watch);
  watch();
  show();
  new BroadcastChannel(DATABASE).addEventListener("message", show);
  document.addEventListener("visibilitychange", show);
  line?.querySelector("button").addEventListener("click", take);
  if (!login) return;
  const { account, worker } = login.dataset;
  tell((await navigator.serviceWorker.ready).active, { type: "who", account, worker });
};

if ("serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.addEventListener("controllerchange", () => isWanted && location.reload());
  document.addEventListener("submit", ({ target }) => {
    if (target === login) tell(registration?.active, { type: "forget" });
  });
  if (document.readyState === "complete") start();
  else window.addEventListener("load", start, { once: true });
}
