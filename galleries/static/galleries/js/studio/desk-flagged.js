// Hiding what is flagged, in all looks at once: asked with the number and the pictures.
import { $$, el, fill, plural } from "../shared/dom.js";

/** Frames with one of these flags that are not hidden and that nobody marked or suggested. */
export const flagged = (frames, names) =>
  frames.filter(
    (frame) =>
      !frame.hidden &&
      !frame.suggested &&
      !Object.keys(frame.marks).length &&
      names.some((name) => frame.flags.includes(name)),
  );

export class Flagged {
  /** `frames()`: all of the desk; `hide(ids, true)` hides them as one act. */
  constructor(dialog, words, { hide, frames }) {
    Object.assign(this, { dialog, words, hide, frames });
    this.boxes = $$("input", dialog);
    this.pictures = dialog.querySelector("ul");
    this.go = dialog.querySelector(".main");
    dialog.addEventListener("change", () => this.draw());
    this.go.addEventListener("click", async () => {
      if (await this.hide(this.chosen(), true)) dialog.close();
    });
  }

  /** `names`: the flags that the desk shows now. */
  open(names) {
    const frames = this.frames();
    for (const box of this.boxes) {
      const count = flagged(frames, [box.value]).length;
      box.checked = names.includes(box.value);
      box.disabled = !count;
      box.parentElement.querySelector(".number").textContent = count;
    }
    this.draw();
    this.dialog.showModal();
  }

  names() {
    return this.boxes.filter((box) => box.checked && !box.disabled).map((box) => box.value);
  }
  chosen() {
    return flagged(this.frames(), this.names()).map((frame) => frame.id);
  }

  draw() {
    const frames = flagged(this.frames(), this.names());
    this.go.disabled = !frames.length;
    this.go.textContent = plural(this.words, "hideflagged", frames.length);
    this.pictures.replaceChildren(
      ...frames.map(({ small, label, w, h }) =>
        el(
          "li",
          {},
          el("img", { src: small, alt: fill(this.words.frame, { label }), loading: "lazy", width: w, height: h }),
        ),
      ),
    );
  }
}
