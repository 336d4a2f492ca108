// Looks for the greenhouse, remembered on this device: <button data-look="sun" aria-pressed="false"> for high contrast
// (html[data-contrast="high"]), data-look="gloves" for larger touch targets (html[data-gloves]).
const LOOKS = { sun: ["contrast", "high"], gloves: ["gloves", ""] };
const keyOf = (look) => `takebook.look.${look}`;
const { dataset } = document.documentElement;

const isOn = (look) => LOOKS[look][0] in dataset;

const show = () => {
  for (const button of document.querySelectorAll("[data-look]")) {
    button.setAttribute("aria-pressed", String(isOn(button.dataset.look)));
  }
};

const put = (look, on) => {
  const [name, value] = LOOKS[look];
  if (on) dataset[name] = value;
  else delete dataset[name];
  show();
};

document.addEventListener("click", (event) => {
  const look = event.target.closest("[data-look]")?.dataset.look;
  if (!look) return;
  put(look, !isOn(look));
  try {
    if (isOn(look)) localStorage.setItem(keyOf(look), "on");
    else localStorage.removeItem(keyOf(look));
  } catch {
    // It lasts as long as the page.
  }
});

// Chosen in another tab.
window.addEventListener("storage", ({ key, newValue }) => {
  for (const look of Object.keys(LOOKS)) if (key === keyOf(look)) put(look, newValue !== null);
});

show();
