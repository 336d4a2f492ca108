// Opens a <dialog> by data-opens="its id"; closes the one around by data-closes or a tap beside it.
document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-opens]");
  if (opener) {
    const dialog = document.getElementById(opener.dataset.opens);
    if (dialog && !dialog.open) dialog.showModal();
    return;
  }
  // The second touch of a wet finger lands beside the dialog that the first one opened: it is not meant.
  const isBeside = event.target instanceof HTMLDialogElement && event.detail < 2;
  if (event.target.closest("[data-closes]") || isBeside) {
    event.target.closest("dialog")?.close();
  }
});
