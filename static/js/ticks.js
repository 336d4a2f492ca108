// Ticks all boxes a selector finds, or none if all are ticked: <button data-ticks="#form [name=run]">.
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-ticks]");
  if (!button) return;
  const boxes = [...document.querySelectorAll(button.dataset.ticks)];
  const ticks = boxes.some((box) => !box.checked);
  for (const box of boxes) box.checked = ticks;
});
