// The flat at the bench: [data-bench="hand-over"] raises the sheet at a tapped cell, [data-bench="blanks"] marks
// tapped places as empty and keeps #id_blanks and the words of #finish in step.
const place = (cell) => cell.getAttribute("aria-label").split(",")[0];

const sheet = document.getElementById("hand-over");

const raise = (title, first) => {
  const heading = sheet.querySelector("[data-title]");
  sheet.querySelector("[name=first_place]").value = first;
  sheet.toggleAttribute("data-at", first !== "");
  heading.textContent = title ? heading.dataset.title.replace("#", title) : heading.dataset.plain;
  sheet.showModal();
};

if (sheet) {
  const heading = sheet.querySelector("[data-title]");
  heading.dataset.plain = heading.textContent;
  sheet.close();
  sheet.querySelector("[data-closes]").hidden = false;
  const typed = document.querySelector("[data-typed]");
  typed.hidden = false;
  typed.addEventListener("click", () => raise("", ""));
  // Enter would press the first button of the form, the first worker: it only ends the typing.
  sheet.querySelector("[name=done_count]").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    event.target.blur();
  });
}

const form = document.getElementById("blanks-form");

const tell = () => {
  const empty = document.querySelectorAll('[data-bench="blanks"] .cell[data-state="blank"]');
  const filled = Number(form.dataset.used) - empty.length;
  form.elements.filled.value = empty.length ? "some" : "all";
  document.getElementById("finish").textContent = empty.length
    ? form.dataset.some.replace("#", filled)
    : form.dataset.all;
  return [...empty].map(place).join(" ");
};

const mark = (cell, isEmpty) => {
  if (isEmpty) cell.dataset.was = cell.dataset.state === "blank" ? "unmarked" : cell.dataset.state;
  cell.dataset.state = isEmpty ? "blank" : (cell.dataset.was ?? "unmarked");
  cell.setAttribute("aria-pressed", String(isEmpty));
};

// What was typed shows in the drawing: places by name, or so many last ones.
const draw = (text) => {
  const cells = [...document.querySelectorAll('[data-bench="blanks"] button.cell')];
  const names = text.toUpperCase().split(/[\s,;.]+/).filter(Boolean);
  const last = names.length === 1 && /^\d+$/.test(names[0]) ? Number(names[0]) : 0;
  const named = new Set(names.map((name) => name.replace(/^([A-Z])0+(?=\d)/, "$1")));
  cells.forEach((cell, index) => mark(cell, index >= cells.length - last || named.has(place(cell))));
};

document.addEventListener("click", (event) => {
  const cell = event.target.closest("button.cell");
  const mode = cell?.closest("[data-bench]")?.dataset.bench;
  if (mode === "hand-over") raise(place(cell), cell.dataset.place);
  if (mode !== "blanks") return;
  mark(cell, cell.dataset.state !== "blank");
  form.elements.blanks.value = tell();
});

if (form) {
  for (const cell of document.querySelectorAll('[data-bench="blanks"] button.cell')) {
    cell.setAttribute("aria-pressed", String(cell.dataset.state === "blank"));
  }
  draw(form.elements.blanks.value);
  tell();
  form.elements.blanks.addEventListener("input", () => {
    draw(form.elements.blanks.value);
    tell();
  });
}
