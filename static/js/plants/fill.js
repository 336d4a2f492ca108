// One touch fills in: [data-fills] sets the fields it names as JSON ({"id_destination": "bed 4"}; a radio by its
// name and value); [data-steps="id"] adds data-by to a number field, [data-full="id"] sets it to its most.
// Both are hidden until this script is here. [data-sums] says the sum of the numbers.
const set = (field, value) => {
  field.value = value;
  field.dispatchEvent(new Event("input", { bubbles: true }));
};

const fill = (values) => {
  for (const [name, value] of Object.entries(values)) {
    const radio = document.querySelector(`input[type="radio"][name="${name}"][value="${value}"]`);
    if (radio) radio.checked = true;
    else set(document.getElementById(`id_${name}`), value);
  }
};

const sum = () => {
  const fields = [...document.querySelectorAll('input[name^="plants-"]')];
  const number = fields.reduce((total, field) => total + (Number(field.value) || 0), 0);
  for (const one of document.querySelectorAll("[data-sums]")) {
    const words = number === 1 ? one.dataset.one : number ? one.dataset.some : one.dataset.none;
    one.textContent = words.replace("#", number);
  }
};

const pressed = (button) => {
  for (const other of document.querySelectorAll("[data-fills]")) {
    if (other.hasAttribute("aria-pressed")) other.setAttribute("aria-pressed", String(other === button));
  }
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-fills], [data-steps], [data-full]");
  if (!button) return;
  if (button.dataset.fills) {
    fill(JSON.parse(button.dataset.fills));
    pressed(button);
    return;
  }
  const field = document.getElementById(button.dataset.steps ?? button.dataset.full);
  const most = Number(field.max);
  const next = button.dataset.full ? most : (Number(field.value) || 0) + Number(button.dataset.by);
  set(field, Math.min(most, Math.max(0, next)));
});

document.addEventListener("input", sum);
for (const hidden of document.querySelectorAll("[data-scripted]")) hidden.hidden = false;
sum();
