// Taps on a flat fill a field with the names of its cells: <div data-picks="#field" data-picked="dead" data-word="…"
// data-unpicked="unmarked" data-unword="…"> around the flat. Typing in the field paints the flat.
const nameOf = (cell) => cell.getAttribute("aria-label").split(",")[0];

const paint = (box, cell, picked) => {
  cell.dataset.state = picked ? box.dataset.picked : box.dataset.unpicked;
  cell.setAttribute("aria-label", `${nameOf(cell)}, ${picked ? box.dataset.word : box.dataset.unword}`);
};

document.addEventListener("click", (event) => {
  const cell = event.target.closest("[data-picks] button.cell");
  if (!cell) return;
  event.preventDefault();
  const box = cell.closest("[data-picks]");
  paint(box, cell, cell.dataset.state !== box.dataset.picked);
  const field = document.querySelector(box.dataset.picks);
  const picked = box.querySelectorAll(`button.cell[data-state="${box.dataset.picked}"]`);
  field.value = Array.from(picked, nameOf).join(" ");
  field.dispatchEvent(new Event("change", { bubbles: true }));
});

document.addEventListener("change", (event) => {
  const box = document.querySelector("[data-picks]");
  if (!box || !event.target.matches(box.dataset.picks)) return;
  const said = new Set(event.target.value.toUpperCase().split(/[\s,]+/));
  for (const cell of box.querySelectorAll("button.cell")) paint(box, cell, said.has(nameOf(cell)));
});
