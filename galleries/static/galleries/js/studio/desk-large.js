// One frame large, from the photographer's private rendition; the eyes at 100 % cut from the original. What is near in
// the direction of travel is fetched and decoded ahead; until a frame is sharp the desk's own picture stands for it.
import { fill } from "../shared/dom.js";
import { sentenceOf } from "../shared/net.js";
import { Ahead, neighbours } from "./desk-ahead.js";
import { Developed } from "./desk-developed.js";
import { bitmap_of, Passing } from "./desk-passing.js";
import { RESTING, Rest } from "./desk-rest.js";
import { onward } from "./desk-stacks.js";

const SHARP = 7; // decoded renditions held at once: 3,000 × 2,000 pixels take 24 MB each
const SHARP_AHEAD = 4;
const QUICK = 24; // of the desk's own pictures, 1.4 MB each
const QUICK_AHEAD = 20;
const QUICK_AT_ONCE = 5; // small files wait for answers, not for the line; a browser asks one host for six at once
const LETTERS = { h: "hide", s: "suggest", r: "rest", t: "undo", w: "window" };

export class LargeView {
  constructor(dialog, to, words, { choice, acts, second, frames, sequence, focus }) {
    Object.assign(this, { dialog, to, words, choice, acts, second, frames, sequence, focus });
    this.id = null;
    this.eyes = false;
    this.direction = 1;
    this.rested = new Rest(RESTING);
    this.sharp = new Ahead(SHARP);
    this.quick = new Ahead(QUICK, { loading: bitmap_of, at_once: QUICK_AT_ONCE });
    this.developed = new Developed();
    this.picture = dialog.querySelector("#large-picture");
    this.stage = dialog.querySelector(".stage");
    this.passing = new Passing(dialog.querySelector("#large-passing"), this.stage);
    dialog.addEventListener("click", (event) => {
      const name = event.target.closest("[data-view]")?.dataset.view;
      if (name) this[name === "eyes" ? "eyes_" : name]();
    });
    dialog.addEventListener("keydown", (event) => {
      const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
      const name = { ArrowLeft: "back", ArrowRight: "on", e: "eyes_", " ": "choose", ...LETTERS }[key];
      if (!name || event.ctrlKey || event.metaKey || (key === " " && event.target.closest("button, a"))) return;
      if (this.stage.classList.contains("full") && event.target === this.stage && key.startsWith("Arrow")) return;
      event.preventDefault();
      this.rested.key(event.repeat);
      this.sharp.wait(event.repeat);
      this[name]();
    });
    dialog.addEventListener("keyup", () => this.let_go());
    addEventListener("blur", () => this.let_go()); // a key let go over another window is not heard here
    dialog.addEventListener("close", () => {
      this.rested.end();
      this.sharp.wait(false);
      for (const ahead of [this.sharp, this.quick]) ahead.want([]);
      this.focus(this.id);
    });
  }

  let_go() {
    this.rested.let_go();
    this.sharp.wait(false);
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
    this.dialog.querySelector("#large-said").textContent = [frame.time, frame.name, flags, frame.compared, frame.note]
      .filter(Boolean)
      .join(" · ");
    this.dialog.querySelector("#large-developing").textContent = "";
    this.dialog.querySelector("#large-original").href = this.to.original.replace(/0$/, id);
    this.stage.classList.toggle("full", this.eyes);
    this.stage.tabIndex = this.eyes ? 0 : -1;
    this.lay(id);
    this.second.show(id);
    this.press("eyes", this.eyes);
    this.press("choose", this.choice.ids.has(id));
    this.press("hide", frame.hidden);
    this.press("suggest", frame.suggested);
  }

  // What is decoded stands at once; else the desk's small picture, until the sharp one has come.
  lay(id) {
    const order = this.sequence();
    const around = (ahead) => neighbours(order, order.indexOf(id), this.direction, ahead);
    this.quick.want(
      around(QUICK_AHEAD)
        .map((one) => this.frames.get(one).small)
        .filter(Boolean),
    );
    this.stand(id);
    const settle = () => {
      this.sharp.want(
        around(SHARP_AHEAD)
          .filter((one) => one === id || !this.eyes || !this.developed.waits(this.frames.get(one)))
          .map((one) => this.address(one)),
      );
      this.second.sharpen();
      const address = this.address(id);
      if (this.eyes && this.developed.waits(this.frames.get(id))) this.develop(id);
      this.sharp.when(address).then((picture) => {
        if (picture && this.id === id && this.address(id) === address) this.put(id, picture);
      });
    };
    this.rested.after(settle);
  }

  stand(id) {
    const { small } = this.frames.get(id);
    const sharp = !this.rested.held && this.sharp.picture(this.address(id)); // large ones are drawn when rested on
    const smaller = this.eyes && this.developed.waits(this.frames.get(id)); // its address gives the same place at once
    const quick = smaller ? null : this.quick.picture(small);
    if (sharp) return this.put(id, sharp);
    if (!quick) return this.put(id, Object.assign(new Image(), { src: (!smaller && small) || this.address(id) }));
    this.picture.alt = this.alt(id);
    this.passing.show(quick, id);
  }

  /** The smaller picture stands, and says so, until the worker has developed the sharp one. */
  async develop(id) {
    const line = this.dialog.querySelector("#large-developing");
    const wanted = () => this.dialog.open && this.eyes && this.id === id;
    line.textContent = this.words.developing;
    try {
      if (await this.developed.when(this.frames.get(id), this.full(id), wanted)) this.show(id);
    } catch (error) {
      if (wanted()) line.textContent = sentenceOf(error, { ...this.words, failed: this.words.undeveloped });
    }
  }

  put(id, picture) {
    this.passing.end();
    if (picture === this.picture) return;
    picture.id = "large-picture";
    picture.alt = this.alt(id);
    picture.removeAttribute("width");
    picture.addEventListener("load", () => this.fit(), { once: true });
    this.picture.removeAttribute("id");
    this.picture.replaceWith(picture);
    this.picture = picture;
    this.fit();
  }

  alt(id) {
    return fill(this.words.frame, { label: this.frames.get(id).label });
  }

  address(id) {
    return this.eyes
      ? this.developed.now(this.frames.get(id), this.full(id))
      : this.to.view.replace("/0.jpg", `/${id}.jpg`);
  }
  full(id) {
    return this.to.eyes.replace("/0.jpg", `/${id}.jpg`);
  }

  // 100 % means one pixel of the original on one of the screen's own.
  fit() {
    if (!this.eyes || !this.picture.naturalWidth) return;
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
    this.go(-1);
  }
  on() {
    this.go(1);
  }
  go(step) {
    this.direction = step;
    this.show(this.near(step));
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
    if (!(await this.acts.hide([id], hidden))) return;
    this.show(hidden ? (onward(order, id, (one) => !this.frames.get(one).hidden) ?? id) : id);
  }
  async suggest() {
    await this.acts.suggest([this.id], !this.frames.get(this.id).suggested);
    this.show(this.id);
  }
  rest() {
    return this.acts.rest(this.id);
  }
  // A frame that comes back alone is looked at again: the press that hid it had moved on to the next.
  async undo() {
    const hidden = [...this.frames.values()].filter((one) => one.hidden).map((one) => one.id);
    await this.acts.undo();
    const back = hidden.filter((id) => !this.frames.get(id).hidden);
    this.show(back.length === 1 ? back[0] : this.id);
  }
  window() {
    this.second.toggle(this.id);
  }
}
