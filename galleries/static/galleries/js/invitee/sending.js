// What a device has not sent yet, said beside the marks: how many, why, and that all of it went.
import { fill } from "../shared/dom.js";
import { soon } from "../shared/later.js";

/** The sentence for a state of the outbox, "" where there is nothing to say. waited: has anything waited before? */
export function unsent(words, { waiting, held, sending: busy, offline, shut, keeps }, waited) {
  if (!keeps && waiting) return words.no_store;
  if (waiting && shut) return fill(words.unsent_shut, { n: waiting });
  if (waiting && (offline || !busy)) return fill(words.unsent, { n: waiting });
  if (waiting && busy) return fill(words.sending, { n: waiting });
  if (offline) return words.offline;
  if (held) return fill(words.held_here, { n: held });
  return waited ? words.sent : "";
}

export class Sending {
  constructor(place, words) {
    Object.assign(this, { place, words, waited: false });
    this.say = soon((state) => this.write(state));
  }
  /** What waited is remembered at once, so that its being sent is said even when both come within one frame; and that
   * all is sent is taken back at once, so that it never stands beside something that waits. */
  take(state) {
    const { waiting, held, offline } = state;
    if (waiting || held || offline) this.waited = true;
    if ((waiting || held) && this.place.dataset.state === "sent") {
      this.place.dataset.state = "waiting";
      this.place.textContent = "";
    }
    this.say(state);
  }
  write(state) {
    const { waiting, held, offline } = state,
      said = unsent(this.words, state, this.waited);
    this.place.dataset.state = waiting || held || offline ? "waiting" : said ? "sent" : "";
    if (this.place.textContent !== said) this.place.textContent = said;
  }
}
