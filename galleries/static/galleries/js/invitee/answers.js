// What the server answers to marks: settled in silence, or told in words that stay until they are read.
import { el, fill } from "../shared/dom.js";
import { sentenceOf, shut } from "../shared/net.js";
import { forget } from "./kept.js";

export class Answers {
  constructor({ marks, notices, frames, words, config }) {
    Object.assign(this, { marks, notices, frames, words, config });
  }
  heard(news, error) {
    if (error) {
      this.refused(error);
      return;
    }
    const { marks, notices, words } = this;
    for (const [row, kind, note] of news) {
      const label = this.frames.get(row.frame)?.label ?? row.label ?? row.frame;
      for (const answer of [note, kind]) {
        if (answer && !answer.error) marks.settle(answer);
        else if (answer?.kind_of_error === "Missing") {
          if (answer === kind) notices.say(fill(words.gone_mark, { label })); // of a note the notice itself says it
        } else if (answer && answer.kind_of_error !== "Refused")
          notices.say(fill(words.refused, { label, error: answer.error }));
      }
      if (kind && !kind.error && kind.kind !== row.kind) {
        const stands = kind.kind ? words[kind.kind] : words.kind_none;
        notices.say(fill(words.other_device, { label, kind: stands }));
      }
    }
    marks.changed(news.map(([row]) => row.frame));
    notices.show();
  }
  /** The server's own sentence where it gave one, and the way on; a shut door gives none. One stands at a time. */
  refused(error) {
    const { notices, words, config } = this;
    if (shut(error)) forget();
    const said = error.status === 404 ? "" : sentenceOf(error, { failed: "" }),
      again = el("a", { href: config.again, textContent: words.again }),
      anew = el("a", { href: location.href, textContent: words.try_again }),
      text = said || words.access_lost;
    if (this.said && this.said !== text) notices.unsay(this.said);
    if (shut(error) || !said) this.said = text;
    notices.say(text, said ? error.status === 403 && anew : again);
  }
}
