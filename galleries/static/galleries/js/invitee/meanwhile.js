// What others do while a page with frames is open that is not the sheet: the list is closed or opened again, frames go.
import { fill, say } from "../shared/dom.js";
import { live } from "../shared/live.js";
import { setClock } from "../shared/net.js";

export class Meanwhile {
  /** gone(ids): frames that are on the sheet no longer; closed(): the list was closed, or is open again */
  constructor({ frames, marks, outbox, notices, answers, words, config, gone, closed = () => {} }) {
    Object.assign(this, { frames, marks, outbox, notices, words, config, gone, closed });
    this.left = new Set(); // frames that went, whose going was told
    live(config.changes, marks.state.change, this.heard.bind(this), (error) => answers.refused(error));
  }
  get picking() {
    return ["proofing", "agreeing"].includes(this.marks.state.stage);
  }
  /** Why no mark can be set now, "" where one can. */
  get why() {
    if (!this.config.may_mark) return this.config.why_not;
    return this.picking ? "" : this.words.closed_now;
  }
  /** May a mark be set now? If not, the reason is said: a press that does nothing never stays silent. */
  markable() {
    const { why } = this;
    if (why) say(why);
    return !why;
  }
  heard(state) {
    const { frames, marks, outbox, notices, words, left } = this,
      before = this.picking;
    setClock(state.now);
    marks.take(state);
    if (before && !this.picking) notices.say(words.closed);
    if (!before && this.picking) {
      notices.unsay(words.closed);
      outbox.release();
    }
    if (before !== this.picking) this.closed();
    const there = new Set(state.frames),
      going = [...frames.keys()].filter((id) => !there.has(id) && !left.has(id));
    for (const id of left) if (there.has(id)) left.delete(id);
    for (const id of going) left.add(id);
    if (going.length) this.gone(going);
    outbox.release("gone", there);
    if (going.length) this.tell(going);
    notices.show();
  }
  /** Whose act it was is told to the subject alone, as on the sheet: from another's page a frame may have gone by what
      the subject did. */
  tell(going) {
    if (!this.config.hears_why) return;
    const { frames, notices, words } = this,
      labels = going.map((id) => frames.get(id).label);
    notices.say(
      fill(going.length === 1 ? words.gone : words.gone_many, { label: labels[0], labels: labels.join(", ") }),
    );
  }
}
