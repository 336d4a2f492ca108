// What was done, act by act, over the whole round, for taking back and doing again. Kept with the marks it made.
const MOST = 500;

export class Acts {
  // scope: the round, or the check of one flat; what was kept for another is forgotten.
  constructor(kept, scope) {
    const isOurs = kept?.scope === scope;
    Object.assign(this, { scope, done: isOurs ? kept.done : [], undone: isOurs ? kept.undone : [] });
  }

  did(flat, { check, changes }) {
    this.done = [...this.done.slice(1 - MOST), { flat, check, changes }];
    this.undone = [];
  }

  // The act that would be taken back, or done again; null if there is none.
  last(isRedo = false) {
    return (isRedo ? this.undone : this.done).at(-1) ?? null;
  }

  // That act was taken back, or done again; or it could not be and is let go.
  moved(isRedo, isLost = false) {
    const act = (isRedo ? this.undone : this.done).pop();
    if (!isLost) (isRedo ? this.done : this.undone).push(act);
  }

  data() {
    return { scope: this.scope, done: this.done, undone: this.undone };
  }
}
