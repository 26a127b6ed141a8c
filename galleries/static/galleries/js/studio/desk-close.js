// The eyes of a run beside each other, one pixel of the camera on one of the screen; the best is taken with one key.
import { el, fill } from "../shared/dom.js";

import { Developed } from "./desk-developed.js";

const MOST = 9;

export class CloseUps {
  /** `acts`: {hide(ids, hidden), suggest(ids, suggested)}; `frames`: id → frame. */
  constructor(dialog, to, words, { frames, acts }) {
    Object.assign(this, { dialog, to, words, frames, acts });
    this.developed = new Developed();
    this.place = dialog.querySelector(".closeups");
    dialog.addEventListener("keydown", (event) => this.key(event));
    dialog.addEventListener("click", (event) => {
      if (event.target.closest("[data-close]")) this.dialog.close();
    });
  }

  open(ids) {
    this.place.replaceChildren(...ids.slice(0, MOST).map((id) => this.pane(id)));
    this.dialog.showModal();
    this.place.firstElementChild?.focus();
    for (const pane of this.place.children) this.develop(pane);
  }

  pane(id) {
    const frame = this.frames.get(id);
    const picture = el("img", { alt: fill(this.words.frame, { label: frame.label }) });
    picture.addEventListener("load", () => {
      picture.width = Math.round(picture.naturalWidth / (globalThis.devicePixelRatio || 1));
    });
    picture.src = this.developed.now(frame, this.to.eyes.replace("/0.jpg", `/${id}.jpg`));
    const pane = el("button", { type: "button", className: "closeup" }, picture, el("b", { className: "typed" }));
    pane.dataset.id = id;
    this.label(pane);
    return pane;
  }

  async develop(pane) {
    const frame = this.frames.get(Number(pane.dataset.id));
    if (!this.developed.waits(frame)) return;
    const address = this.to.eyes.replace("/0.jpg", `/${frame.id}.jpg`);
    const wanted = () => this.dialog.open && this.place.contains(pane);
    pane.dataset.line = this.words.developing;
    this.label(pane);
    const sharp = await this.developed.when(frame, address, wanted).catch(() => null);
    pane.dataset.line = sharp === null ? this.words.undeveloped : "";
    if (sharp) pane.querySelector("img").src = address;
    this.label(pane);
  }

  label(pane) {
    const frame = this.frames.get(Number(pane.dataset.id));
    pane.querySelector("b").textContent = [
      frame.label,
      frame.suggested ? this.words.suggested : "",
      frame.hidden ? this.words.hidden : "",
      pane.dataset.line,
    ]
      .filter(Boolean)
      .join(", ");
  }

  async key(event) {
    const panes = [...this.place.children];
    const at = panes.indexOf(document.activeElement.closest(".closeup"));
    if (event.ctrlKey || event.metaKey || event.altKey || at < 0) return;
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const next = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: panes.length - 1 }[key];
    const ids = panes.map((pane) => Number(pane.dataset.id));
    const frame = this.frames.get(ids[at]);
    const act = {
      h: () => this.acts.hide([frame.id], !frame.hidden),
      s: () => this.acts.suggest([frame.id], !frame.suggested),
      r: () => this.acts.rest(frame.id),
      t: () => this.acts.undo(),
    }[key];
    if (next === undefined && !act) return;
    event.preventDefault();
    if (act) await act();
    else panes[next]?.focus();
    for (const pane of panes) this.label(pane);
  }
}
