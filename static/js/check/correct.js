// Corrects a cell that an earlier check saw dead or gone: another state, and why.
export const useCorrection = ({ onCorrected }) => {
  const dialog = document.getElementById("check-correction");
  const form = dialog.querySelector("form");
  let cell = null;

  form.addEventListener("submit", () => {
    const { state, reason } = Object.fromEntries(new FormData(form));
    onCorrected(cell, state, reason.trim());
  });

  return (wrong) => {
    cell = wrong;
    form.reset();
    dialog.querySelector("[data-cell-name]").textContent = cell.name;
    dialog.querySelector("[data-only]").hidden = cell.state !== dialog.querySelector("[data-only]").dataset.only;
    dialog.showModal();
  };
};
