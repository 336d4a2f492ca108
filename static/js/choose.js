// Counts what is ticked in the form[data-chooses="id of the count"] (data-one, data-many); [data-choose-all] ticks all.
const form = () => document.querySelector("[data-chooses]");
const boxes = () => [...(form()?.elements ?? [])].filter((one) => one.type === "checkbox");

const show = () => {
  const count = boxes().filter((box) => box.checked).length;
  const line = form() && document.getElementById(form().dataset.chooses);
  if (line) line.textContent = count === 1 ? line.dataset.one : line.dataset.many.replace("%d", count);
  const all = document.querySelector("[data-choose-all]");
  if (!all) return;
  all.hidden = false;
  all.querySelector("input").checked = count > 0 && count === boxes().length;
};

document.addEventListener("change", (event) => {
  if (event.target.closest("[data-choose-all]")) {
    for (const box of boxes()) box.checked = event.target.checked;
  }
  show();
});

window.addEventListener("pageshow", show);
show();
