// Counts by numbers (data-counted): steppers (data-step), and the living as the other side of the dead (data-alive).
// Without this script the dead and the wilting are typed.
import { fill } from "./check/paint.js";

const valueOf = (input) => Math.max(0, Math.trunc(Number(input.value) || 0));

const parts = (counted) => {
  const [dead, alive, wilting] = counted.querySelectorAll("input[type=number]");
  return { dead, alive, wilting, sum: counted.querySelector("[data-sum]"), plants: Number(counted.dataset.plants) };
};

// What was not typed follows from what was: the living are the rest, and no more wilt than live.
const follow = (counted, typed) => {
  const { dead, alive, wilting, sum, plants } = parts(counted);
  if (typed === alive) dead.value = Math.max(0, plants - valueOf(alive));
  else if (typed !== wilting) alive.value = Math.max(0, plants - valueOf(dead));
  const isTooMany = valueOf(dead) + valueOf(wilting) > plants || valueOf(alive) > plants;
  const said = { dead: valueOf(dead), plants, alive: plants - valueOf(dead) };
  sum.textContent = fill(isTooMany ? sum.dataset.tooMany : sum.dataset.sum, said);
};

const step = (button) => {
  const input = button.parentElement.querySelector("input");
  input.value = Math.min(Number(input.max), Math.max(0, valueOf(input) + Number(button.dataset.step)));
  follow(button.closest("[data-counted]"), input);
};

for (const counted of document.querySelectorAll("[data-counted]")) {
  for (const hidden of counted.querySelectorAll("[data-step], [data-alive]")) hidden.hidden = false;
  follow(counted, null);
}

document.addEventListener("input", ({ target }) => {
  const counted = target.closest("[data-counted]");
  if (counted) follow(counted, target);
});

document.addEventListener("click", ({ target }) => {
  const button = target.closest("[data-counted] [data-step]");
  if (button) step(button);
});

// A number is typed anew, not behind the old one.
document.addEventListener("focusin", ({ target }) => target.matches("[data-counted] input") && target.select());
