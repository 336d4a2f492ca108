// Plants chosen by touch: [data-picks="id of a text field"] around a flat whose cells have aria-pressed. Row
// letters and the corner choose a row and all; the field holds the places, [data-tells] says their number, and
// [data-whole] is pressed while all are chosen.
const box = document.querySelector("[data-picks]");

const nameOf = (cell) => cell.getAttribute("aria-label").split(",")[0];
const isPressed = (cell) => cell.getAttribute("aria-pressed") === "true";

if (box) {
  const field = document.getElementById(box.dataset.picks);
  const cells = [...box.querySelectorAll("button.cell[aria-pressed]")];
  const columns = Number(box.querySelector(".flat").dataset.columns);
  const whole = document.querySelector("[data-whole]");
  const wholeField = document.querySelector('input[name="whole"]');

  const saysSpans = (chosen) => {
    const spans = [];
    for (const cell of chosen) {
      const last = spans.at(-1);
      const place = Number(cell.dataset.place);
      if (last && last.place === place - 1) Object.assign(last, { end: nameOf(cell), place });
      else spans.push({ begin: nameOf(cell), end: nameOf(cell), place });
    }
    return spans.map((span) => (span.begin === span.end ? span.begin : `${span.begin}-${span.end}`)).join(" ");
  };

  const count = () => {
    const number = cells.filter(isPressed).length;
    for (const one of document.querySelectorAll("[data-tells]")) {
      const words = number === 1 ? one.dataset.one : number ? one.dataset.some : one.dataset.none;
      one.textContent = words.replace("#", number);
    }
    whole?.setAttribute("aria-pressed", String(cells.length > 0 && number === cells.length));
  };

  const tell = () => {
    field.value = saysSpans(cells.filter(isPressed));
    if (wholeField) wholeField.checked = false;
    count();
  };

  // All of them where one is missing, else none.
  const toggle = (some) => {
    const pressed = !some.every(isPressed);
    for (const cell of some) cell.setAttribute("aria-pressed", String(pressed));
    tell();
  };

  const inRow = (letter) => {
    const first = (letter.charCodeAt(0) - 65) * columns;
    return cells.filter((cell) => cell.dataset.place > first && cell.dataset.place <= first + columns);
  };

  const numbered = new Map(cells.map((cell) => [nameOf(cell), Number(cell.dataset.place)]));
  const placeOf = (name) => {
    const [, row, column] = /^([A-Z])0*([1-9]\d*)$/.exec(name) ?? [];
    return row && column <= columns ? (row.charCodeAt(0) - 65) * columns + Number(column) : numbered.get(name);
  };

  // What was typed shows in the drawing.
  const draw = (text) => {
    const parts = text.toUpperCase().replace(/\s*(?:-|–|\.\.)\s*/g, "-").split(/[\s,;.]+/);
    const spans = parts.filter(Boolean).map((part) => {
      const [begin, end = begin] = part.split("-");
      const row = (name, column) => (/^[A-Z]$/.test(name) ? placeOf(`${name}${column}`) : placeOf(name));
      return [row(begin, 1), row(end, columns)];
    });
    for (const cell of cells) {
      const place = Number(cell.dataset.place);
      cell.setAttribute("aria-pressed", String(spans.some(([begin, end]) => begin <= place && place <= end)));
    }
    count();
  };

  box.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.matches(".cell[aria-pressed]")) toggle([button]);
    else if (button?.dataset.row) toggle(inRow(button.dataset.row));
    else if (button && "all" in button.dataset) toggle(cells);
  });
  field.addEventListener("input", () => draw(field.value));
  if (whole) {
    whole.hidden = false;
    whole.addEventListener("click", () => toggle(cells));
  }
  tell();
}
