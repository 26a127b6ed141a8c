// Which frames are chosen: one by one, or from the last one chosen to another.
export class Choice {
  constructor(changed) {
    this.ids = new Set();
    this.anchor = null;
    this.changed = changed;
  }

  toggle(id) {
    if (this.ids.has(id)) this.ids.delete(id);
    else this.ids.add(id);
    this.anchor = id;
    this.changed();
  }

  // From the anchor to `id`, in the order in which the frames lie on the desk.
  reach(id, sequence, from = null) {
    const start = sequence.indexOf(this.anchor ?? from ?? id);
    const end = sequence.indexOf(id);
    if (this.anchor === null) this.anchor = from ?? id;
    for (const one of sequence.slice(Math.min(start, end), Math.max(start, end) + 1)) this.ids.add(one);
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

  // Frames that are gone are no longer chosen.
  keep(frames) {
    for (const id of this.ids) if (!frames.has(id)) this.ids.delete(id);
    this.changed();
  }
}
