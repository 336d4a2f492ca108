// Moves about the flat by keyboard: one tab stop, arrows as the flat lies on the screen, Home and End for the ends of
// a row of the flat. On a cell: d dead, w wilting, f firm; anywhere: u undo, r redo, n close and go to the next.
// A cell acts on Enter and Space by itself, since it is a button.
const STATES = { d: "dead", w: "wilting", f: "firm" };
const STEPS = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [-1, 0], ArrowDown: [1, 0] };
const FIELDS = "input, textarea, select, [contenteditable]";

// Turned clockwise: what lies to the right on the screen is the row before, what lies below the next column.
const stepOf = (key, isTurned) => {
  const [down, right] = STEPS[key];
  return isTurned ? [-right, down] : [down, right];
};

// The next cell that way, over places without a plant; undefined at the edge.
const onwards = (drawing, from, [down, right]) => {
  let { row, column } = from;
  let found = null;
  while (found === null) {
    row += down;
    column += right;
    found = drawing.at(row, column);
  }
  return found;
};

const end = (drawing, { row }, isHome) =>
  onwards(drawing, { row, column: isHome ? -1 : drawing.columns }, [0, isHome ? 1 : -1]);

// onState(button, state): mark that cell; onUndo(), onRedo(), onNext().
export const useKeys = ({ drawing, onState, onUndo, onRedo, onNext }) => {
  const acts = { u: onUndo, r: onRedo, n: onNext };

  const move = (button, key) => {
    const from = drawing.placeOf(button);
    const isEnd = key === "Home" || key === "End";
    const next = isEnd ? end(drawing, from, key === "Home") : onwards(drawing, from, stepOf(key, drawing.isTurned));
    if (!next) return;
    drawing.reveal(next.dataset.cell);
    next.focus();
  };

  document.addEventListener("focusin", ({ target }) => {
    const button = target.closest?.(".cell[data-cell]");
    if (button && drawing.flat?.contains(button)) drawing.stopAt(button);
  });

  document.addEventListener("keydown", (event) => {
    const { key, target, repeat } = event;
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
    if (target.closest(FIELDS) || document.querySelector("dialog[open]") || !drawing.flat) return;
    const letter = key.toLowerCase();
    const button = drawing.flat.contains(target) ? target.closest(".cell[data-cell]") : null;
    if (button && (key in STEPS || key === "Home" || key === "End")) {
      event.preventDefault();
      move(button, key);
    } else if (repeat) {
      return; // a key held down marks, takes back and closes once
    } else if (letter in acts) {
      acts[letter]();
    } else if (button && letter in STATES) {
      onState(button, STATES[letter]);
    }
  });
};
