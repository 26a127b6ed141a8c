// The marks as the page shows them: what the server holds, with what is still in the outbox laid over it.
export class Marks {
  constructor(state, outbox) {
    this.outbox = outbox;
    this.undoable = JSON.parse(sessionStorage.getItem(`undo-${outbox.person}`) ?? "[]");
    this.listeners = [];
    this.take(state);
  }
  /** The server's whole state; only the frames of which it says something else are drawn again. */
  take(state) {
    const said = (one, id) =>
      JSON.stringify([one?.mine[id], one?.theirs[id]?.map(([who, kind]) => [one.people[who], kind])]);
    const before = this.state,
      ids = new Set(
        [before, state].flatMap((one) => (one ? [...Object.keys(one.mine), ...Object.keys(one.theirs)] : [])),
      );
    const differs = [...ids].filter((id) => said(before, id) !== said(state, id)).map(Number);
    this.state = state;
    this.mine = new Map(
      Object.entries(state.mine).map(([id, [kind, revision, note, alone]]) => [
        Number(id),
        { kind, revision, note, alone },
      ]),
    );
    this.theirs = new Map(
      Object.entries(state.theirs).map(([id, row]) => [
        Number(id),
        row.map(([who, kind]) => ({
          role: state.people[who][0],
          name: state.people[who][1],
          kind,
        })),
      ]),
    );
    this.sides = new Map(Object.entries(state.sides).map(([id, kinds]) => [Number(id), kinds]));
    this.changed(before ? differs : []);
  }
  /** A single answer of the server. */
  settle({ frame, kind, note, revision, for_studio: alone = false }) {
    this.mine.set(frame, { kind, note, revision, alone });
  }
  of(frame) {
    const held = this.mine.get(frame) ?? { kind: "", revision: 0, note: "", alone: false };
    const row = this.outbox.rows.get(frame);
    if (!row || row.held === "closed" || row.held === "gone") return held;
    const said = { ...held, kind: row.kind ?? held.kind };
    if (row.held === "conflict" || row.note === undefined) return said;
    return { ...said, note: row.note, alone: row.alone ?? held.alone };
  }
  /** The frames that stand as picked, without asking of each of a thousand. */
  picked() {
    const spoken = new Set([...this.mine.keys(), ...this.outbox.rows.keys()]);
    return [...spoken].filter((frame) => this.of(frame).kind === "pick");
  }
  othersOf(frame) {
    return this.theirs.get(frame) ?? [];
  }
  sidesOf(frame) {
    return this.sides.get(frame) ?? {};
  }
  /** Press a kind: the same again takes it away. Returns the kind that stands now. */
  press(frame, kind) {
    const before = this.of(frame).kind,
      next = before === kind ? "" : kind;
    this.remember(frame, before);
    return this.set(frame, next);
  }
  set(frame, kind) {
    this.outbox.put(frame, { kind, kindSeen: this.mine.get(frame)?.revision ?? 0 });
    this.changed([frame]);
    return kind;
  }
  /** alone: the studio and nobody else reads it; undefined leaves that as it is. */
  note(frame, text, alone) {
    this.outbox.put(frame, { note: text, alone, seen: this.mine.get(frame)?.revision ?? 0 });
    this.changed([frame]);
  }
  remember(frame, kind) {
    this.undoable = [...this.undoable.slice(-99), [frame, kind]];
    this.keepUndo();
  }
  /** The latest press on a frame that is there(frame): one that went, or is not on this page, is not what is meant. */
  undo(there = () => true) {
    const at = this.undoable.findLastIndex(([frame]) => there(frame)),
      [last] = at < 0 ? [] : this.undoable.splice(at, 1);
    this.keepUndo();
    if (last) this.set(...last);
    return last?.[0];
  }
  keepUndo() {
    try {
      sessionStorage.setItem(`undo-${this.outbox.person}`, JSON.stringify(this.undoable));
    } catch {
      /* this page only */
    }
  }
  changed(frames) {
    for (const listener of this.listeners) listener(frames);
  }
}
