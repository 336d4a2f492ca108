// Opens a <dialog> by data-opens="its id"; closes the one around by data-closes or a tap beside it.
document.addEventListener("click", (event) => {
  const opener = event.target.closest("[data-opens]");
  if (opener) {
    const dialog = document.getElementById(opener.dataset.opens);
    if (dialog && !dialog.open) dialog.showModal();
    return;
  }
  if (event.target.closest("[data-closes]") || event.target instanceof HTMLDialogElement) {
    event.target.closest("dialog")?.close();
  }
});
