// Runs before the page's own scripts in the tests of faults: a clock that may be wrong, a disk that may be full, and
// a watch on what the page shows as kept.
(() => {
  const noted = (key) => {
    try {
      return sessionStorage.getItem(key);
    } catch {
      return null; // a page without an origin
    }
  };

  // The clock is off by so many milliseconds.
  const Real = Date;
  const off = () => Number(noted("test-clock")) || 0;
  window.Date = class extends Real {
    constructor(...given) {
      if (given.length) super(...given);
      else super(Real.now() + off());
    }
    static now() {
      return Real.now() + off();
    }
  };

  // The tablet's disk is full: what is added to a store fails, at once or with its transaction.
  window.testDurabilities = []; // what those transactions were asked for
  const add = IDBObjectStore.prototype.add;
  const added = new WeakMap();
  const quota = () => new DOMException("The disk is full.", "QuotaExceededError");
  IDBObjectStore.prototype.add = function full(...given) {
    const how = noted("test-disk");
    if (this.name === "parts") window.testDurabilities.push(this.transaction.durability);
    if (how === "throws") throw quota();
    const there = added.get(this.transaction) ?? 0;
    added.set(this.transaction, there + 1);
    if (how === "throws at the third" && there === 2) throw quota();
    const request = add.apply(this, given);
    if (how === "aborts") {
      // As a browser does it: the request succeeds, and the transaction fails when it is to be written.
      Object.defineProperty(this.transaction, "error", { value: quota() });
      request.addEventListener("success", () => this.transaction.abort());
    }
    return request;
  };

  // A cell is busy from its touch until its mark is kept.
  const watch = (records) => {
    const flat = document.getElementById("check-code")?.textContent.replace("-", "");
    const heard = records
      .filter(({ target }) => target.dataset?.cell)
      .map(({ target, oldValue }) => [oldValue === "true" ? "kept" : "touched", flat, target.dataset.cell]);
    if (heard.length) window.testHeard?.(heard);
  };
  new MutationObserver(watch).observe(document, {
    subtree: true,
    attributes: true,
    attributeFilter: ["aria-busy"],
    attributeOldValue: true,
  });
})();
