// Logging out takes back the token by which this tablet sends without a login: <form data-logout>. What waits stays
// here and leaves after the next login.
import { csrfToken } from "./csrf.js";

const NAME = "takebook";

// Reads or clears one note; a database is not made for it.
const note = (key, isCleared = false) =>
  new Promise((resolve) => {
    const request = indexedDB.open(NAME);
    request.onupgradeneeded = () => request.transaction.abort();
    request.onerror = () => resolve(null);
    request.onsuccess = () => {
      const database = request.result;
      const transaction = database.transaction("meta", isCleared ? "readwrite" : "readonly");
      const asked = isCleared ? transaction.objectStore("meta").delete(key) : transaction.objectStore("meta").get(key);
      transaction.oncomplete = () => {
        database.close();
        resolve(isCleared ? null : (asked.result?.value ?? null));
      };
      transaction.onabort = () => resolve(null);
    };
  });

document.addEventListener("submit", async ({ target }) => {
  if (!target.matches("[data-logout]")) return;
  const token = csrfToken(); // of this login: it is another one a moment later
  const device = await note("device");
  if (!device || !(await note("token"))) return;
  note("token", true);
  const headers = { "Content-Type": "application/json", "X-CSRFToken": token };
  fetch("/api/device", { method: "DELETE", headers, body: JSON.stringify({ device }), keepalive: true }).catch(() => {});
});
