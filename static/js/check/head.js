// What stands above the flat: its code, what it is, and what somebody who begins should know.
import { fill } from "./paint.js";

const at = (id) => document.getElementById(id);

export class Head {
  constructor(words) {
    this.words = words;
  }

  show(sheet, own) {
    at("check-code").textContent = sheet.spoken;
    at("check-what").textContent = [sheet.what, sheet.when, sheet.place].filter(Boolean).join(" · ");
    document.title = fill(this.words.title, { code: sheet.spoken });
    const numbers = at("check-numbers");
    numbers.hidden = !sheet.may_count;
    numbers.href = `${sheet.url}/numbers`;
    at("check-login").href = `${at("check-login").dataset.login}?next=${sheet.url}`;
    this.hints(sheet, own);
  }

  who({ worker, name }) {
    const line = document.querySelector(".bar-who > a");
    if (worker && line) line.lastChild.textContent = name;
  }

  hints(sheet, own) {
    const others = sheet.checks.filter(({ uuid }) => sheet.opened.includes(uuid) && uuid !== own.uuid);
    const lines = [...others.map(({ who, at: time }) => fill(this.words.begun, { who, at: time })), ...sheet.hints];
    const said = lines.map((line) => {
      const hint = document.createElement("p");
      hint.className = "quiet";
      hint.textContent = line;
      return hint;
    });
    const host = at("check-hints");
    if (host.innerText.trim() !== lines.join("\n")) host.replaceChildren(...said);
  }
}
