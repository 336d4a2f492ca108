// What the server did not take stays here with the reason, until a person decides: send it again, or let it go.
import { fill } from "./paint.js";

export class Refused {
  constructor({ store, sender, words }) {
    Object.assign(this, { store, sender, words });
    this.host = document.getElementById("check-refused");
    this.host.addEventListener("click", (event) => {
      const button = event.target.closest("[data-refused]");
      if (button) this.#decide(button.dataset.refused, "again" in button.dataset);
    });
    sender.addEventListener("change", () => this.show());
    this.show();
  }

  async show() {
    const refused = await this.store.refused().catch(() => []);
    if (!refused.length && this.host.hidden) return;
    this.host.hidden = refused.length === 0;
    this.host.querySelector("ul").replaceChildren(...refused.map((one) => this.#line(one)));
  }

  async #decide(uuid, sendsAgain) {
    await this.store.decide(uuid, sendsAgain);
    this.show();
    if (sendsAgain) this.sender.hurry();
  }

  #line({ uuid, noun, flat, part, reason }) {
    const item = document.createElement("li");
    const text = document.createElement("span");
    const what = noun === "marks" ? fill(this.words.refusedMark, { cell: part.cell, state: this.words[part.state] ?? part.state }) : this.words.refusedOther;
    text.textContent = `${flat}: ${what} ${reason}`;
    item.append(text, this.#button(uuid, this.words.sendAgain, true), this.#button(uuid, this.words.letGo, false));
    return item;
  }

  #button(uuid, name, isAgain) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = name;
    button.dataset.refused = uuid;
    if (isAgain) button.dataset.again = "";
    return button;
  }
}
