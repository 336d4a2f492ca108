// Closes an open <details class="menu"> by a tap elsewhere or Escape.
const close = (except) => {
  for (const menu of document.querySelectorAll("details.menu[open]")) {
    if (!menu.contains(except)) menu.open = false;
  }
};

document.addEventListener("click", (event) => close(event.target));

document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape") return;
  const menu = event.target.closest("details.menu[open]");
  close(null);
  menu?.querySelector("summary").focus();
});
