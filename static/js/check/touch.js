// Tells taps and drags on a flat from scrolling and from palms.
//
// A tap counts when the finger lifts, not by the browser's click: two hands that tap at once make no click, nor does
// a finger held long. A drag begins after the finger was held still; what it passes over is handed on when it lifts.
// A wide contact, or a third one, is a palm: it and all that lies on the screen with it mark nothing.
const HOLD_MS = 300;
const SLOP_PX = 15; // Chromium's own measure of a touch that has not moved (from memory)
const PALM_PX = 40;
const FINGERS = 2; // one of each hand
const STRIDE_PX = 8; // no cell is stepped over: the smallest has 24
const CLICK_MS = 1000; // a click that follows a touch comes by then
const FLING_MS = 100; // a page that scrolled this lately is still rolling,
const ROLL_MS = 3000; // if a finger set it rolling no longer ago than this
const BUZZ_MS = 12;
const TARGETS = ".cell[data-cell], [data-row], [data-all]";

const buzz = () => {
  if (navigator.userActivation?.hasBeenActive ?? true) navigator.vibrate?.(BUZZ_MS);
};

class Touch {
  constructor(host, { onTap, onDrag, isBusy = () => false }) {
    Object.assign(this, { host, onTap, onDrag, isBusy });
    this.contacts = new Map(); // pointer id -> what is known of it
    this.drag = null;
    this.clicksDue = []; // when fingers lifted whose click is still to come
    this.rolled = { until: 0, at: 0 };
    this.#listen();
  }

  // On the document, since a palm may lie beside the flat.
  #listen() {
    const on = (name, act, options) => document.addEventListener(name, act, { capture: true, ...options });
    on("pointerdown", (event) => this.#down(event));
    on("pointermove", (event) => this.#move(event), { passive: true });
    on("pointerup", (event) => this.#up(event));
    on("pointercancel", (event) => this.#cancel(event));
    on("touchend", ({ timeStamp }) => (this.rolled.until = Math.min(this.rolled.until, timeStamp + ROLL_MS)), { passive: true });
    on("scroll", ({ timeStamp }) => (this.rolled.at = timeStamp), { passive: true });
    this.host.addEventListener("click", (event) => this.#click(event));
    this.host.addEventListener("touchmove", (event) => this.drag && event.preventDefault(), { passive: false });
    // Taken care of: no click made up after it may land on what meanwhile moved under the finger.
    this.host.addEventListener("touchend", (event) => {
      if (event.cancelable && event.target.closest(TARGETS)) event.preventDefault();
    });
    this.host.addEventListener("contextmenu", (event) => {
      if ([...this.contacts.values()].some(({ pointerType }) => pointerType !== "mouse")) event.preventDefault();
    });
  }

  #down(event) {
    const { pointerId, pointerType, isPrimary, clientX: x, clientY: y, timeStamp } = event;
    // The first finger: whatever is still noted was lifted where nobody saw it.
    if (pointerType === "touch" && isPrimary) this.#forget();
    const target = this.host.contains(event.target) ? event.target.closest(TARGETS) : null;
    const isRolling = timeStamp < this.rolled.until && timeStamp - this.rolled.at < FLING_MS;
    const contact = { target, x, y, pointerType, isWide: false };
    contact.isSpoiled = isRolling || event.button > 0 || this.drag !== null;
    this.contacts.set(pointerId, contact);
    this.#feel(contact, event);
    if (this.#isPalm()) return this.#spoil();
    if (this.contacts.size === 1 && target?.dataset.cell && !contact.isSpoiled) {
      contact.timer = setTimeout(() => this.#hold(pointerId), HOLD_MS);
    }
  }

  #move(event) {
    const contact = this.contacts.get(event.pointerId);
    if (!contact || contact.isSpoiled) return;
    this.#feel(contact, event);
    if (contact.isWide) return this.#spoil();
    if (this.drag?.pointerId === event.pointerId) return this.#pass(event);
    if (!this.#isStill(contact, event)) this.#letGo(contact);
  }

  #up(event) {
    const contact = this.contacts.get(event.pointerId);
    if (!contact) return;
    this.#feel(contact, event);
    if (contact.isWide) this.#spoil();
    this.contacts.delete(event.pointerId);
    clearTimeout(contact.timer);
    if (!contact.target) return;
    this.clicksDue.push(event.timeStamp);
    if (this.drag?.pointerId === event.pointerId) this.#endDrag(event);
    else if (!contact.isSpoiled && contact.target.isConnected && this.#isStill(contact, event)) this.#accept(contact.target, event);
  }

  #cancel({ pointerId, pointerType }) {
    const contact = this.contacts.get(pointerId);
    if (!contact) return;
    this.contacts.delete(pointerId);
    clearTimeout(contact.timer);
    if (this.drag?.pointerId === pointerId) this.#dropDrag();
    if (pointerType === "touch") this.rolled.until = Infinity; // the browser scrolls, until the finger lifts and beyond
  }

  // A click without a finger before it comes from the keyboard, or from what reads the screen aloud.
  #click(event) {
    const target = event.target.closest(TARGETS);
    if (!target) return;
    this.clicksDue = this.clicksDue.filter((at) => event.timeStamp - at < CLICK_MS);
    if (event.detail > 0 && this.clicksDue.shift() !== undefined) return;
    if (!this.isBusy()) this.onTap(target, event);
  }

  #accept(target, event) {
    if (this.isBusy()) return;
    buzz();
    this.onTap(target, event);
  }

  #feel(contact, { pointerType, width, height }) {
    if (pointerType === "touch" && Math.max(width, height) > PALM_PX) contact.isWide = true;
  }

  #isPalm() {
    const contacts = [...this.contacts.values()];
    return contacts.length > FINGERS || contacts.some(({ isWide }) => isWide);
  }

  #isStill(contact, { clientX, clientY, pointerType }) {
    if (Math.hypot(clientX - contact.x, clientY - contact.y) <= SLOP_PX) return true;
    if (pointerType === "touch") return false;
    return document.elementFromPoint(clientX, clientY)?.closest(TARGETS) === contact.target;
  }

  #spoil() {
    for (const contact of this.contacts.values()) {
      contact.isSpoiled = true;
      clearTimeout(contact.timer);
    }
    this.#dropDrag();
  }

  // It moved: neither a tap nor the beginning of a drag.
  #letGo(contact) {
    clearTimeout(contact.timer);
    if (contact.pointerType === "touch") contact.isSpoiled = true;
  }

  #forget() {
    this.#spoil();
    this.contacts.clear();
  }

  #hold(pointerId) {
    const contact = this.contacts.get(pointerId);
    if (!contact || contact.isSpoiled || this.contacts.size > 1 || this.isBusy() || !contact.target.isConnected) return;
    contact.target.setPointerCapture?.(pointerId);
    this.drag = { pointerId, x: contact.x, y: contact.y, cells: new Set() };
    this.#add(contact.target);
    buzz();
  }

  // All cells on the way from where the finger was seen last.
  #pass({ clientX, clientY }) {
    const { drag } = this;
    const [dx, dy] = [clientX - drag.x, clientY - drag.y];
    const steps = Math.max(1, Math.ceil(Math.hypot(dx, dy) / STRIDE_PX));
    for (let step = 1; step <= steps; step += 1) {
      const under = document.elementFromPoint(drag.x + (dx * step) / steps, drag.y + (dy * step) / steps);
      const cell = under?.closest(".cell[data-cell]");
      if (cell && this.host.contains(cell)) this.#add(cell);
    }
    Object.assign(drag, { x: clientX, y: clientY });
  }

  #add(cell) {
    if (this.drag.cells.has(cell)) return;
    this.drag.cells.add(cell);
    cell.toggleAttribute("data-passed", true);
  }

  #endDrag(event) {
    this.#pass(event);
    const cells = [...this.drag.cells].filter((cell) => cell.isConnected);
    this.#dropDrag();
    if (cells.length === 1) this.#accept(cells[0], event);
    if (cells.length < 2 || this.isBusy()) return;
    buzz();
    this.onDrag(cells);
  }

  #dropDrag() {
    for (const cell of this.drag?.cells ?? []) cell.removeAttribute("data-passed");
    this.drag = null;
  }
}

// host holds the flat, whose cells, row heads and corner may be replaced at any time.
// onTap(target, event): a cell, a row head or the corner; onDrag(buttons): the cells passed over, each once;
// isBusy(): nothing is taken now.
export const useTouch = (host, acts) => new Touch(host, acts);
