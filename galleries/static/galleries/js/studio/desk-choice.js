// Which frames are chosen: one by one, or from the last one chosen to another. `whole` says what a frame stands for:
// itself, or at a closed stack all frames of it.
export class Choice {
  constructor(changed, whole = (id) => [id]) {
    this.ids = new Set();
    this.anchor = null;
    this.changed = changed;
    this.whole = whole;
  }

  toggle(id, ids = this.whole(id)) {
    const chosen = ids.every((one) => this.ids.has(one));
    for (const one of ids) this.ids[chosen ? "delete" : "add"](one);
    this.anchor = id;
    this.changed();
  }

  // From the anchor to `id`, in the order in which the frames lie on the desk.
  reach(id, sequence, from = null) {
    const start = sequence.indexOf(this.anchor ?? from ?? id);
    const end = sequence.indexOf(id);
    if (this.anchor === null) this.anchor = from ?? id;
    for (const one of sequence.slice(Math.min(start, end), Math.max(start, end) + 1).flatMap((one) => this.whole(one)))
      this.ids.add(one);
    this.changed();
  }

  set(ids) {
    this.ids = new Set(ids);
    this.anchor = ids[0] ?? null;
    this.changed();
  }

  clear() {
    this.set([]);
  }

  // Only what lies on the desk can be chosen: `there` has those ids.
  keep(there) {
    for (const id of this.ids) if (!there.has(id)) this.ids.delete(id);
    if (!there.has(this.anchor)) this.anchor = null;
    this.changed();
  }

  drop(ids) {
    for (const id of ids) this.ids.delete(id);
    if (ids.includes(this.anchor)) this.anchor = null;
    this.changed();
  }
}
