// Finds out what this browser can do and shows, for each [data-ability], the sentence of [data-finding] that holds.
// The features themselves are asked for, never the name of the browser.
import { whatWaits } from "./tablet/waiting.js";

const GOOD = new Set(["yes", "promised"]);
const SECONDS_FOR_WORKER = 8;

const show = (ability, finding) => {
  const section = document.querySelector(`[data-ability="${ability}"]`);
  for (const line of section.querySelectorAll("[data-finding]")) line.hidden = line.dataset.finding !== finding;
  section.dataset.is = GOOD.has(finding) || (ability === "kept" && finding === "plain") ? "yes" : "no";
};

const keepsSomething = () =>
  new Promise((resolve) => {
    try {
      const request = indexedDB.open("takebook-probe");
      request.onerror = () => resolve(false);
      request.onsuccess = () => {
        request.result.close();
        indexedDB.deleteDatabase("takebook-probe");
        resolve(true);
      };
    } catch {
      resolve(false);
    }
  });

const kept = async () => {
  if (!(await keepsSomething())) return "refused";
  if (!isSecureContext) return "plain";
  return (await navigator.storage?.persisted?.()) ? "promised" : "yes";
};

const pages = async () => {
  if (!isSecureContext) return "plain";
  const { serviceWorker } = navigator;
  if (!serviceWorker) return "missing";
  // After a warning that was waved through, the page is "secure" and yet no worker may be registered.
  const refused = ({ name }) => (name === "SecurityError" ? "untrusted" : "failed");
  const tried = serviceWorker
    .register(document.getElementById("abilities").dataset.worker)
    .then(() => serviceWorker.ready)
    .then(() => "yes", refused);
  const late = new Promise((resolve) => setTimeout(resolve, SECONDS_FOR_WORKER * 1000, "failed"));
  return Promise.race([tried, late]);
};

const camera = async () => {
  if (!isSecureContext) return "plain";
  if (!navigator.mediaDevices?.getUserMedia) return "missing";
  const devices = await navigator.mediaDevices.enumerateDevices();
  return devices.some(({ kind }) => kind === "videoinput") ? "yes" : "none";
};

const awake = () => {
  if (!isSecureContext) return "plain";
  return navigator.wakeLock ? "yes" : "missing";
};

const showRoom = async () => {
  const { quota, usage } = (await navigator.storage?.estimate?.()) ?? {};
  if (quota === undefined) return;
  const megabytes = Math.max(0, quota - usage) / 1e6;
  const unit = megabytes < 1000 ? "megabyte" : "gigabyte";
  const amount = unit === "gigabyte" ? megabytes / 1000 : megabytes;
  const words = new Intl.NumberFormat(document.documentElement.lang, { style: "unit", unit, maximumFractionDigits: 1 });
  const line = document.getElementById("room");
  line.querySelector("span").textContent = words.format(amount);
  line.hidden = false;
};

const showWaiting = async () => {
  const counts = await whatWaits();
  const some = counts.marks + counts.others > 0;
  document.getElementById("waiting").hidden = !some;
  document.getElementById("waiting-none").hidden = some;
  document.getElementById("tablet-export").hidden = !some;
  for (const cell of document.querySelectorAll("[data-count]")) cell.textContent = counts[cell.dataset.count];
};

for (const [ability, look] of Object.entries({ kept, pages, camera, awake })) {
  Promise.resolve()
    .then(look)
    .catch(() => "missing")
    .then((finding) => show(ability, finding));
}
showRoom().catch(() => {});
showWaiting().catch(() => {});
const channel = "BroadcastChannel" in self ? new BroadcastChannel("takebook") : null;
channel?.addEventListener("message", () => showWaiting().catch(() => {}));
