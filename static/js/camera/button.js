// [data-scan="id of a field, or name of an event"] opens #scan-dialog and reads a label. A field is filled and its form
// sent ([data-scan-fills]: only filled); otherwise the button tells of it by that event: detail {code, text}.
import { spoken } from "../codes.js";
import { wake } from "./signal.js";
import { hasLiveCamera } from "./stream.js";

const deliver = (button, detail) => {
  const { scan, scanFills } = button.dataset;
  const field = document.getElementById(scan);
  if (!field) {
    const teller = button.isConnected ? button : document;
    teller.dispatchEvent(new CustomEvent(scan, { bubbles: true, detail }));
    return;
  }
  field.value = spoken(detail.code);
  field.dispatchEvent(new Event("input", { bubbles: true }));
  if (scanFills === undefined) field.form.requestSubmit();
};

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-scan]");
  const dialog = document.getElementById("scan-dialog");
  if (!button || !dialog || dialog.open) return;
  dialog.showModal();
  // Sound and the tablet's camera program are opened by a touch alone, so both come before anything is waited for.
  wake();
  if (!hasLiveCamera()) dialog.querySelector("[type=file]").click();
  try {
    const { scan } = await import("./scan.js");
    scan(dialog, (detail) => deliver(button, detail));
  } catch {
    const line = dialog.querySelector(".scan-said");
    line.textContent = line.dataset.unloaded;
  }
});
