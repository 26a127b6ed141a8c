// Frames that an earlier release read: how many there are, a button to have them read anew, and how far that is.
import { $, fill, say } from "../shared/dom.js";

export class Anew {
  constructor(place, words, ask) {
    Object.assign(this, { place, words, busy: false });
    $("button", place).addEventListener("click", ask);
  }
  /** `older` frames in all, `coming` of them listed for the worker. */
  take([older, coming]) {
    const { place, words } = this,
      button = $("button", place),
      held = document.activeElement === button;
    const told = coming ? fill(words.anew, { n: coming }) : fill(words.older, { n: older });
    const status = $("[role=status]", place);
    if (status.textContent !== told) status.textContent = told;
    button.hidden = coming > 0;
    place.hidden = older === 0;
    if (this.busy && !older) say(words.isread);
    this.busy = coming > 0;
    if (held && (button.hidden || place.hidden)) $("#order")?.focus();
  }
}
