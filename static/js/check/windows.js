// Which way round a flat is drawn on this screen, and in how many parts. In CSS pixels.
export const LEAST = 44; // a finger
export const LEAST_GLOVES = 64;
export const LEAST_OVERVIEW = 24;
const NUMBERS = 28; // the narrowest head beside the cells
const EDGE = 8; // the rim of the tray

const share = (lines, count) => {
  const parts = [];
  for (let first = 1, left = count; left > 0; left -= 1) {
    const last = first + Math.ceil((lines - first + 1) / left) - 1;
    parts.push({ first, last });
    first = last + 1;
  }
  return parts;
};

const partsNeeded = (lines, width, least) => Math.ceil(lines / Math.max(1, Math.floor((width - EDGE) / least)));

// The long side of the flat lies along the long side of the screen. Where the lines that stand side by side
// (columns, or rows if it is turned) are too many for cells of `least`, they are shared among parts; each holds
// all of its lines. The head beside them is as wide as a finger, unless that costs a part more.
// Returns {turned, head, parts: [{first, last}]}, lines counted from 1.
export const fit = ({ rows, columns, width, height, least, isUpright = height > width }) => {
  const turned = rows !== columns && columns > rows === isUpright;
  const lines = turned ? rows : columns;
  const [wide, narrow] = [Math.max(LEAST, least), NUMBERS].map((head) => partsNeeded(lines, width - head, least));
  const head = wide > narrow ? NUMBERS : Math.max(LEAST, least);
  return { turned, head, parts: share(lines, Math.min(wide, narrow)) };
};

const letter = (row) => String.fromCharCode(64 + row);

// The bar above the flat: a tab for each part, and all of it at once where the cells are then large enough to hit.
export class PartsBar {
  // onPart(number): a part was chosen; onOverview(): the whole flat, or again its parts.
  constructor({ words, onPart, onOverview }) {
    this.words = words;
    this.element = document.createElement("div");
    this.element.className = "flat-parts";
    this.tabs = document.createElement("div");
    this.tabs.className = "switch";
    this.tabs.setAttribute("role", "group");
    this.tabs.setAttribute("aria-label", words.partOfFlat);
    this.all = document.createElement("button");
    this.all.type = "button";
    this.all.addEventListener("click", onOverview);
    this.tabs.addEventListener("click", ({ target }) => {
      const tab = target.closest("[data-part]");
      if (tab) onPart(Number(tab.dataset.part));
    });
    this.element.append(this.tabs, this.all);
  }

  show({ parts, turned, chosen, isOverview, mayOverview }) {
    this.element.hidden = parts.length === 1 && !isOverview;
    this.tabs.hidden = isOverview;
    this.all.hidden = !mayOverview;
    this.all.textContent = isOverview ? this.words.larger : this.words.wholeFlat;
    if (isOverview) return;
    const names = parts.map(({ first, last }) => this.#name(first, last, turned));
    if (names.join() !== [...this.tabs.children].map((tab) => tab.textContent).join()) this.#makeTabs(names);
    for (const tab of this.tabs.children) tab.setAttribute("aria-pressed", String(Number(tab.dataset.part) === chosen));
  }

  #name(first, last, turned) {
    const [from, to] = turned ? [letter(first), letter(last)] : [first, last];
    return first === last ? String(from) : this.words.fromTo.replace("{first}", from).replace("{last}", to);
  }

  #makeTabs(names) {
    const tabs = names.map((name, number) => {
      const tab = document.createElement("button");
      tab.type = "button";
      tab.dataset.part = number;
      tab.textContent = name;
      return tab;
    });
    this.tabs.replaceChildren(...tabs);
  }
}
