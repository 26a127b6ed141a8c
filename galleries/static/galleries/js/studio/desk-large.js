// One frame large, from the photographer's private rendition; the eyes at 100 % cut from the original.
import { fill } from "../shared/dom.js";
import { onward } from "./desk-stacks.js";

export class LargeView {
  constructor(dialog, to, words, { choice, hide, frames, sequence, focus }) {
    Object.assign(this, { dialog, to, words, choice, hideFrames: hide, frames, sequence, focus });
    this.id = null;
    this.eyes = false;
    this.picture = dialog.querySelector("#large-picture");
    this.stage = dialog.querySelector(".stage");
    dialog.addEventListener("click", (event) => {
      const name = event.target.closest("[data-view]")?.dataset.view;
      if (name) this[name === "eyes" ? "eyes_" : name]();
    });
    dialog.addEventListener("keydown", (event) => {
      const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
      const name = { ArrowLeft: "back", ArrowRight: "on", e: "eyes_", " ": "choose", h: "hide" }[key];
      if (!name || event.ctrlKey || event.metaKey || (key === " " && event.target.closest("button, a"))) return;
      if (this.stage.classList.contains("full") && event.target === this.stage && key.startsWith("Arrow")) return;
      event.preventDefault();
      this[name]();
    });
    dialog.addEventListener("close", () => this.focus(this.id));
    this.picture.addEventListener("load", () => this.fit());
  }

  open(id, eyes = false) {
    this.eyes = eyes;
    this.dialog.showModal();
    this.show(id);
  }

  show(id) {
    if (!id) return;
    this.id = id;
    const frame = this.frames.get(id);
    const flags = frame.flags.map((flag) => this.words[flag]).join(", ");
    this.dialog.querySelector("#large-label").textContent = frame.label;
    this.dialog.querySelector("#large-said").textContent = [frame.time, frame.name, flags, frame.note]
      .filter(Boolean)
      .join(" · ");
    this.dialog.querySelector("#large-original").href = this.to.original.replace(/0$/, id);
    this.picture.alt = fill(this.words.frame, { label: frame.label });
    this.stage.classList.toggle("full", this.eyes);
    this.stage.tabIndex = this.eyes ? 0 : -1;
    this.picture.removeAttribute("width");
    this.picture.src = this.address(id);
    this.press("eyes", this.eyes);
    this.press("choose", this.choice.ids.has(id));
    this.press("hide", frame.hidden);
    const next = this.near(1);
    if (next) new Image().src = this.address(next);
  }

  address(id) {
    return this.eyes ? this.to.eyes.replace("/0.jpg", `/${id}.jpg`) : this.to.view.replace("/0.jpg", `/${id}.jpg`);
  }

  // 100 % means one pixel of the original on one of the screen's own.
  fit() {
    if (!this.eyes) return;
    this.picture.width = Math.round(this.picture.naturalWidth / (globalThis.devicePixelRatio || 1));
    this.stage.scrollTo(
      (this.stage.scrollWidth - this.stage.clientWidth) / 2,
      (this.stage.scrollHeight - this.stage.clientHeight) / 2,
    );
  }

  press(name, on) {
    this.dialog.querySelector(`[data-view=${name}]`).setAttribute("aria-pressed", String(on));
  }
  near(step) {
    const order = this.sequence();
    return order[order.indexOf(this.id) + step];
  }
  back() {
    this.show(this.near(-1));
  }
  on() {
    this.show(this.near(1));
  }
  eyes_() {
    this.eyes = !this.eyes;
    this.show(this.id);
  }
  choose() {
    this.choice.toggle(this.id, [this.id]);
    this.press("choose", this.choice.ids.has(this.id));
  }
  close() {
    this.dialog.close();
  }

  // This one frame alone, even where it lies in a stack; hidden, the next comes.
  async hide() {
    const { id } = this;
    const order = this.sequence();
    const hidden = !this.frames.get(id).hidden;
    if (!(await this.hideFrames([id], hidden))) return;
    this.show(hidden ? (onward(order, id, (one) => !this.frames.get(one).hidden) ?? id) : id);
  }
}
