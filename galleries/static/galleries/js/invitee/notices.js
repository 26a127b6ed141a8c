// Words that stay until the person has read or settled them: a closed list, a note changed elsewhere.
import { el, fill, plural } from "../shared/dom.js";

export class Notices {
  constructor(place, words, outbox, marks, frames) {
    Object.assign(this, { place, words, outbox, marks, frames, said: new Map() });
  }
  /** link: where the person can go on from there. */
  say(text, link) {
    this.said.set(text, link);
    this.show();
  }
  unsay(text) {
    this.said.delete(text);
    this.show();
  }
  show() {
    const parts = [...this.said].map(([text, link]) =>
      // A node of its own each time: what is drawn and not shown takes none away from what stands there.
      el("p", { className: "note" }, text, ...(link ? [" ", link.cloneNode(true)] : [])),
    );
    const closed = this.outbox.held("closed");
    if (closed.length) parts.push(this.closed(closed));
    for (const row of this.outbox.held("conflict")) parts.push(this.conflict(row));
    for (const row of this.outbox.held("gone")) parts.push(this.gone(row));
    const key = parts.map((part) => part.textContent).join("|");
    if (key === this.key) return;
    this.key = key;
    this.place.replaceChildren(...parts);
    this.place.hidden = parts.length === 0;
  }
  label(row) {
    return this.frames.get(row.frame)?.label ?? row.label ?? String(row.frame);
  }
  closed(rows) {
    const { words } = this;
    const frames = rows
      .map((row) => `${this.label(row)} ${row.kind ? words[row.kind] : (row.note ?? words.kind_none)}`)
      .join(", ");
    const forget = el("button", {
      type: "button",
      className: "button small",
      textContent: plural(words, "forget", rows.length),
    });
    forget.addEventListener("click", async () => {
      for (const row of rows) await this.outbox.drop(row.frame);
      this.marks.changed();
      this.show();
    });
    return el(
      "div",
      { className: "note caution" },
      el("p", { textContent: plural(words, "held", rows.length, { frames }) }),
      forget,
    );
  }
  /** A note on a frame that went from the sheet before it could be sent: the words stay until they are done with. */
  gone(row) {
    const { words } = this;
    const forget = el("button", { type: "button", className: "button small", textContent: words.forget_words });
    forget.addEventListener("click", async () => {
      await this.outbox.drop(row.frame);
      this.marks.changed([row.frame]);
      this.show();
    });
    return el(
      "div",
      { className: "note caution", role: "group" },
      el("p", { textContent: fill(words.gone_note, { label: this.label(row) }) }),
      el("blockquote", { textContent: row.note }),
      forget,
    );
  }
  conflict(row) {
    const { words } = this;
    const settle = (text, keepMine) => {
      const button = el("button", { type: "button", className: "button small", textContent: text });
      button.addEventListener("click", async () => {
        await this.outbox.drop(row.frame);
        this.marks.settle({
          frame: row.frame,
          kind: this.marks.of(row.frame).kind,
          note: row.theirs,
          for_studio: row.theirs_alone,
          revision: row.revision,
        });
        if (keepMine) this.marks.note(row.frame, row.note, row.alone);
        else this.marks.changed([row.frame]);
        this.show();
      });
      return button;
    };
    return el(
      "div",
      { className: "note caution", role: "group" },
      el("p", { textContent: fill(words.conflict, { label: this.label(row) }) }),
      el("p", { textContent: words.theirs_note }),
      el("blockquote", { textContent: row.theirs }),
      el("p", { textContent: words.mine_note }),
      el("blockquote", { textContent: row.note }),
      el("div", { className: "row" }, settle(words.keep_theirs, false), settle(words.keep_mine, true)),
    );
  }
}
