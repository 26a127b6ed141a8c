// Two to four frames side by side. Zoom and pan are kept in units of the face, so that locked panes show the
// same part of the same face even when the person moved between the frames.
import { fill } from "../shared/dom.js";

const MOST = 12;
const EYES_FILL = 0.5; // of a pane's width between the pupils

export class SideBySide {
  constructor(dialog, to, words, { hide, frames }) {
    Object.assign(this, { dialog, to, words, hideFrames: hide, frames });
    this.panes = [];
    this.place = dialog.querySelector("#panes");
    dialog.addEventListener("click", (event) => {
      const name = event.target.closest("[data-side]")?.dataset.side;
      if (name) this.do(name);
      const hide = event.target.closest("[data-hide]");
      if (hide) this.hide(Number(hide.dataset.hide), hide);
    });
    dialog.addEventListener("keydown", (event) => {
      const name = {
        "+": "in",
        "=": "in",
        "-": "out",
        ArrowLeft: "left",
        ArrowRight: "right",
        ArrowUp: "up",
        ArrowDown: "down",
        e: "eyes",
        w: "whole",
      }[event.key];
      if (!name || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      this.do(name);
    });
    new ResizeObserver(() => {
      for (const pane of this.panes) this.draw(pane);
    }).observe(this.place);
  }

  get locked() {
    return this.dialog.querySelector("#locked").checked;
  }

  open(ids) {
    this.panes = ids.map((id) => this.pane(this.frames.get(id)));
    this.place.replaceChildren(...this.panes.map((pane) => pane.box));
    this.dialog.showModal();
    this.do("whole");
  }

  pane(frame) {
    const box = document.createElement("div");
    box.className = "pane";
    const picture = document.createElement("img");
    picture.alt = fill(this.words.frame, { label: frame.label });
    picture.draggable = false;
    picture.src = this.to.view.replace("/0.jpg", `/${frame.id}.jpg`);
    const under = document.createElement("div");
    under.className = "under";
    const label = document.createElement("b");
    label.className = "typed";
    label.textContent = frame.label;
    const hide = document.createElement("button");
    hide.type = "button";
    hide.className = "button small";
    hide.dataset.hide = frame.id;
    hide.textContent = frame.hidden ? this.words.show : this.words.hide;
    hide.setAttribute("aria-label", `${hide.textContent} ${frame.label}`);
    under.append(label, hide);
    box.append(picture, under);
    // dx, dy: where the middle of the pane lies, from the eyes, in widths of the face between them.
    const pane = { frame, box, picture, zoom: 1, dx: 0, dy: 0, whole: true };
    picture.addEventListener("load", () => this.draw(pane));
    this.handle(pane);
    return pane;
  }

  handle(pane) {
    let from = null;
    pane.box.addEventListener("pointerdown", (event) => {
      if (event.target.closest("button")) return;
      pane.box.setPointerCapture(event.pointerId);
      from = [event.clientX, event.clientY];
    });
    pane.box.addEventListener("pointermove", (event) => {
      if (!from) return;
      this.move(pane, from[0] - event.clientX, from[1] - event.clientY);
      from = [event.clientX, event.clientY];
    });
    for (const kind of ["pointerup", "pointercancel"])
      pane.box.addEventListener(kind, () => {
        from = null;
      });
    pane.box.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        this.zoom(pane, event.deltaY < 0 ? 1.15 : 1 / 1.15);
      },
      { passive: false },
    );
  }

  group(pane) {
    return this.locked ? this.panes : [pane];
  }

  // Pixels of the picture per unit of the face, and the point between the eyes.
  face({ frame, picture }) {
    const width = picture.naturalWidth || 1;
    const height = picture.naturalHeight || 1;
    const [x, y] = frame.eyes ?? [0.5, 0.35];
    return { unit: (frame.gap ?? 0.12) * width, x: x * width, y: y * height, width, height };
  }

  // Pixels of the screen between the eyes: what locked panes have in common.
  eyeWidth(pane) {
    return this.face(pane).unit * this.wholeScale(pane) * pane.zoom;
  }

  wholeScale(pane) {
    const { width, height } = this.face(pane);
    return Math.min(pane.box.clientWidth / width, pane.box.clientHeight / height);
  }

  draw(pane) {
    const { unit, x, y, width, height } = this.face(pane);
    if (width <= 1) return;
    const boxed = [pane.box.clientWidth, pane.box.clientHeight];
    const scale = this.wholeScale(pane) * pane.zoom;
    const middle = pane.whole ? [width / 2, height / 2] : [x + pane.dx * unit, y + pane.dy * unit];
    const [across, down] = [0, 1].map((axis) => boxed[axis] / 2 - middle[axis] * scale);
    pane.picture.style.transform = `translate(${across}px, ${down}px) scale(${scale})`;
  }

  enter(pane) {
    if (!pane.whole) return;
    const { unit, x, y, width, height } = this.face(pane);
    pane.dx = (width / 2 - x) / unit;
    pane.dy = (height / 2 - y) / unit;
    pane.whole = false;
  }

  move(pane, byX, byY) {
    this.enter(pane);
    const { unit } = this.face(pane);
    const scale = this.wholeScale(pane) * pane.zoom;
    pane.dx += byX / scale / unit;
    pane.dy += byY / scale / unit;
    this.follow(pane);
  }

  zoom(pane, factor) {
    this.enter(pane);
    pane.zoom = Math.min(MOST, Math.max(1, pane.zoom * factor));
    this.follow(pane);
  }

  follow(pane) {
    for (const one of this.group(pane)) {
      if (one !== pane) {
        Object.assign(one, { dx: pane.dx, dy: pane.dy, zoom: 1, whole: pane.whole });
        one.zoom = Math.min(MOST, this.eyeWidth(pane) / this.eyeWidth(one));
      }
      this.draw(one);
    }
  }

  do(name) {
    if (name === "close") return this.dialog.close();
    const lead = this.panes[0];
    const step = lead.box.clientWidth / 6;
    if (name === "in" || name === "out") return this.zoom(lead, name === "in" ? 1.3 : 1 / 1.3);
    if (name === "left" || name === "right") return this.move(lead, name === "left" ? -step : step, 0);
    if (name === "up" || name === "down") return this.move(lead, 0, name === "up" ? -step : step);
    for (const pane of this.panes) {
      Object.assign(pane, { dx: 0, dy: 0, whole: name === "whole", zoom: 1 });
      if (name === "eyes") pane.zoom = Math.min(MOST, (EYES_FILL * pane.box.clientWidth) / this.eyeWidth(pane));
      this.draw(pane);
    }
    return undefined;
  }

  async hide(id, button) {
    const hidden = !this.frames.get(id).hidden;
    if (await this.hideFrames([id], hidden)) button.textContent = hidden ? this.words.show : this.words.hide;
  }
}
