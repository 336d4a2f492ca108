// Moves about the flat by keyboard: one tab stop, arrows, Home and End; d, w, r for the modes, u for undo.
// A cell acts on Enter and Space by itself, since it is a button.
const MODES = { d: "dead", w: "wilting", r: "firm" };

export const useKeys = ({ flat, columns, buttons, setMode, undo }) => {
  const byPlace = new Map([...buttons].map(([id, button]) => [Number.parseInt(id, 10) - 1, button]));
  const last = Math.max(...byPlace.keys());
  const steps = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -columns, ArrowDown: columns };
  let stop = null;

  const make = (button) => {
    if (stop) stop.tabIndex = -1;
    stop = button;
    stop.tabIndex = 0;
  };

  const placeOf = (button) => Number.parseInt(button.dataset.cell, 10) - 1;

  // The next cell that way, over blanks and unused ones; a row's end is an end.
  const onwards = (from, step) => {
    const row = Math.floor(from / columns);
    for (let place = from + step; place >= 0 && place <= last; place += step) {
      if (Math.abs(step) === 1 && Math.floor(place / columns) !== row) return null;
      if (byPlace.has(place)) return byPlace.get(place);
    }
    return null;
  };

  const edge = (from, isHome) => {
    const row = Math.floor(from / columns);
    const places = [...byPlace.keys()].filter((place) => Math.floor(place / columns) === row);
    return byPlace.get(isHome ? Math.min(...places) : Math.max(...places));
  };

  const target = (key, from) => {
    if (key in steps) return onwards(from, steps[key]);
    return key === "Home" || key === "End" ? edge(from, key === "Home") : undefined;
  };

  for (const button of byPlace.values()) button.tabIndex = -1;
  make(byPlace.get(Math.min(...byPlace.keys())));

  flat.addEventListener("focusin", (event) => {
    const button = event.target.closest("[data-cell]");
    if (button && button !== stop) make(button);
  });

  document.addEventListener("keydown", (event) => {
    const { key, target: at } = event;
    if (event.ctrlKey || event.metaKey || event.altKey || document.querySelector("dialog[open]")) return;
    if (key in MODES) setMode(MODES[key]);
    if (key === "u") undo();
    const button = at.closest(".cell[data-cell]");
    const next = button && target(key, placeOf(button));
    if (next === undefined || next === false) return;
    if (button) event.preventDefault();
    next?.focus();
  });
};
