// The state of a cell from its marks, by the same rule as the server's: marks that nobody replaced are open; of
// different open states the worse counts, and that is a disagreement.
export const WORST_FIRST = ["dead", "gone", "wilting", "firm", "unmarked"];

const LIVING = new Set(["unmarked", "firm", "wilting"]);

export const isLiving = (state) => LIVING.has(state);

// marks: {uuid, state, replaces}. Returns {state, deciding, open, differs}.
export const fold = (marks) => {
  if (!marks.length) return { state: "unmarked", deciding: null, open: [], differs: false };
  const replaced = new Set();
  for (const { uuid, replaces } of marks) {
    for (const other of replaces) if (other !== uuid) replaced.add(other);
  }
  const left = marks.filter(({ uuid }) => !replaced.has(uuid));
  const open = left.length ? left : marks; // a circle cannot come from honest tablets
  const rank = ({ state }) => WORST_FIRST.indexOf(state);
  const deciding = open.reduce((worst, mark) => {
    if (rank(mark) !== rank(worst)) return rank(mark) < rank(worst) ? mark : worst;
    return mark.uuid < worst.uuid ? mark : worst;
  });
  return { state: deciding.state, deciding, open, differs: open.some(({ state }) => state !== deciding.state) };
};
