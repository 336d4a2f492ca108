// Makes the cells of a flat large or small again: <button data-zooms="id of the .flat" aria-pressed="false">.
document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-zooms]");
  const flat = button && document.getElementById(button.dataset.zooms);
  if (!flat) return;
  const zoomed = flat.dataset.zoom === "in";
  flat.dataset.zoom = zoomed ? "out" : "in";
  button.setAttribute("aria-pressed", String(!zoomed));
});
