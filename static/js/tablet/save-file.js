// Saves what waits on this tablet as a file: <button data-saves-waiting>.
import { saveWaiting } from "./export.js";
import { Store } from "./store.js";

document.addEventListener("click", (event) => {
  if (event.target.closest("[data-saves-waiting]")) saveWaiting(new Store());
});
