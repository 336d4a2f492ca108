// What was done, act by act, over the whole round, for taking back and doing again. Each act is kept on the tablet
// in the transaction of its marks, as a record of its own: {n, scope, flat, check, changes, is_undone}.
export class Acts {
  // scope: the round, or the check of one flat. kept: the records of it, in order.
  constructor(kept, scope) {
    const inOrder = kept.sort((one, other) => one.n - other.n);
    this.scope = scope;
    this.done = inOrder.filter(({ is_undone }) => !is_undone);
    this.undone = inOrder.filter(({ is_undone }) => is_undone).reverse();
    this.n = Math.max(0, ...kept.map(({ n }) => n));
  }

  // Something was done: what had been taken back before it cannot be done again. Returns what is to be kept.
  did(flat, { check, changes }) {
    const record = { n: (this.n += 1), scope: this.scope, flat, check, changes, is_undone: false };
    const dropped = this.undone.map(({ n }) => n);
    this.done.push(record);
    this.undone = [];
    return { put: [record], drop: dropped };
  }

  // The act that would be taken back, or done again; null if there is none.
  last(isRedo = false) {
    return (isRedo ? this.undone : this.done).at(-1) ?? null;
  }

  // That act was taken back, or done again. Returns what is to be kept.
  moved(isRedo) {
    const act = (isRedo ? this.undone : this.done).pop();
    act.is_undone = !isRedo;
    (isRedo ? this.done : this.undone).push(act);
    return { put: [act], drop: [] };
  }

  // That act cannot be taken back or done again, or was not kept. Returns what is to be kept.
  lose(isRedo = false) {
    const { n } = (isRedo ? this.undone : this.done).pop();
    return { put: [], drop: [n] };
  }
}
