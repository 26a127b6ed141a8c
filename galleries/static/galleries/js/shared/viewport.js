// A picture in a stage: fit, zoom about a point, pan, pinch, double tap, swipe. The place is kept in fractions
// of the picture, so that several stages can be locked together and a step to the next frame keeps the place.
export class Viewport {
  /** stage: the element that clips; picture: the img or a wrapper; onStep(±1), onChange(this), onTap(event, this);
      onDown(): the whole picture was drawn down; with it, the picture follows the finger */
  constructor(stage, picture, { onStep = () => {}, onChange = () => {}, onTap = () => {}, onDown = null } = {}) {
    Object.assign(this, { stage, picture, onStep, onChange, onTap, onDown });
    this.drag = [0, 0]; // where a finger holds the whole picture, off its place
    this.width = this.height = 1;
    this.zoom = 0; // 0: the whole picture; otherwise CSS pixels per picture pixel
    this.x = this.y = 0.5; // the point of the picture in the middle of the stage
    this.eyes = null;
    this.home = null; // () => { zoom, x, y } of the picture while nobody came close, or null for the whole of it
    this.pointers = new Map();
    this.room = null; // of the stage, [width, height], as it was last laid out; to ask for it lays the page out anew
    this.watch = new ResizeObserver(() => {
      this.room = [stage.clientWidth, stage.clientHeight];
      this.draw();
    });
    this.watch.observe(stage);
    for (const kind of ["pointerdown", "pointermove", "pointerup", "pointercancel"]) {
      stage.addEventListener(kind, (event) => this[kind](event));
    }
    stage.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }
  show(width, height, eyes) {
    Object.assign(this, { width, height, eyes });
    this.draw();
  }
  get size() {
    return this.room?.[0] ? this.room : [this.stage.clientWidth, this.stage.clientHeight];
  }
  get fit() {
    const [clientWidth, clientHeight] = this.size;
    return Math.min(clientWidth / this.width, clientHeight / this.height, 1);
  }
  /** Where the picture lies while nobody came close. */
  get rest() {
    return this.home?.() ?? { zoom: this.fit, x: 0.5, y: 0.5 };
  }
  get scale() {
    return Math.max(this.zoom || 0, this.rest.zoom);
  }
  get zoomed() {
    return this.zoom > this.rest.zoom * 1.001;
  }
  draw() {
    const [clientWidth, clientHeight] = this.size,
      scale = this.scale;
    const clamp = (at, size, room) => {
      const half = room / 2 / (size * scale);
      return half >= 0.5 ? 0.5 : Math.min(1 - half, Math.max(half, at));
    };
    if (this.zoomed) {
      this.x = clamp(this.x, this.width, clientWidth);
      this.y = clamp(this.y, this.height, clientHeight);
    }
    const { x, y } = this.zoomed ? this : this.rest;
    const left = clientWidth / 2 - x * this.width * scale + this.drag[0],
      top = clientHeight / 2 - y * this.height * scale + this.drag[1];
    this.picture.style.width = `${this.width}px`;
    this.picture.style.height = `${this.height}px`;
    this.picture.style.transform = `translate(${left}px, ${top}px) scale(${scale})`;
    this.stage.classList.toggle("zoomed", this.zoomed);
    this.box = { left, top, width: this.width * scale, height: this.height * scale };
    this.onChange(this);
  }
  /** 100 %: one pixel of the proof on one pixel of the page, on the eyes or on the point that was pressed. */
  toggle(event) {
    if (this.zoomed) return this.set(0);
    const at = this.eyes ?? (event?.clientX !== undefined ? this.at(event) : [0.5, 0.4]);
    this.set(Math.max(1, this.rest.zoom * 1.5), ...at);
  }
  set(zoom, x = this.x, y = this.y) {
    Object.assign(this, { zoom: zoom > this.rest.zoom * 1.001 ? Math.min(zoom, 4) : 0, x, y });
    this.draw();
  }
  by(factor) {
    this.set(this.scale * factor, ...(this.zoomed ? [this.x, this.y] : (this.eyes ?? [0.5, 0.5])));
  }
  pan(dx, dy) {
    this.set(this.zoom, this.x + dx / (this.width * this.scale), this.y + dy / (this.height * this.scale));
  }
  at({ clientX, clientY }) {
    const edge = this.stage.getBoundingClientRect();
    return [
      (clientX - edge.left - this.box.left) / this.box.width,
      (clientY - edge.top - this.box.top) / this.box.height,
    ];
  }
  /** Zoom so that the point under the fingers stays there. */
  about(point, zoom) {
    const [fx, fy] = this.at(point),
      edge = this.stage.getBoundingClientRect();
    const next = Math.min(4, Math.max(zoom, this.rest.zoom));
    const dx = point.clientX - edge.left - this.stage.clientWidth / 2,
      dy = point.clientY - edge.top - this.stage.clientHeight / 2;
    this.set(next, fx - dx / (this.width * next), fy - dy / (this.height * next));
  }
  wheel(event) {
    event.preventDefault();
    this.about(event, this.scale * Math.exp(-event.deltaY * 0.002));
  }
  pointerdown(event) {
    if (event.target.closest("button, a, .pin")) return;
    this.stage.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, event);
    this.start = { x: event.clientX, y: event.clientY, at: event.timeStamp, many: this.pointers.size > 1 };
    this.spread = null;
  }
  pointermove(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    this.pointers.set(event.pointerId, event);
    if (this.pointers.size === 2) {
      const [a, b] = [...this.pointers.values()];
      const spread = Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
      const middle = { clientX: (a.clientX + b.clientX) / 2, clientY: (a.clientY + b.clientY) / 2 };
      if (this.spread) this.about(middle, (this.scale * spread) / this.spread);
      this.spread = spread;
      this.start.many = true;
    } else if (this.zoomed) {
      this.pan(before.clientX - event.clientX, before.clientY - event.clientY);
    } else if (this.onDown && !this.start.many) {
      const [dx, dy] = [event.clientX - this.start.x, event.clientY - this.start.y];
      this.stage.classList.remove("settling");
      this.drag = along(dx, dy);
      this.draw();
    }
  }
  /** The finger let go: the picture goes back to its place. */
  release() {
    if (!this.drag[0] && !this.drag[1]) return;
    this.drag = [0, 0];
    this.stage.classList.add("settling");
    this.draw();
    setTimeout(() => this.stage.classList.remove("settling"), 150);
  }
  pointerup(event) {
    if (!this.pointers.delete(event.pointerId) || this.pointers.size) return;
    this.release();
    if (this.start.many) return;
    const dx = event.clientX - this.start.x,
      dy = event.clientY - this.start.y;
    if (!this.zoomed && Math.abs(dx) > 45 && Math.abs(dx) > 1.5 * Math.abs(dy)) this.onStep(dx < 0 ? 1 : -1);
    else if (!this.zoomed && this.onDown && dy > 90 && dy > 1.5 * Math.abs(dx)) this.onDown();
    else if (Math.hypot(dx, dy) < 8) this.tapped(event);
  }
  pointercancel(event) {
    this.pointers.delete(event.pointerId);
    this.release();
  }
  tapped(event) {
    const twice = this.lastTap && event.timeStamp - this.lastTap < 350;
    this.lastTap = twice ? 0 : event.timeStamp;
    if (twice) this.toggle(event);
    // The way to move about without dragging (WCAG 2.5.7): the point that was pressed comes to the middle.
    else if (this.zoomed) this.set(this.zoom, ...this.at(event));
    else this.onTap(event, this);
  }
}

/** How far the whole picture follows a finger: sideways or down, one of the two, and never up. */
export function along(dx, dy) {
  if (Math.hypot(dx, dy) < 8) return [0, 0];
  return Math.abs(dx) > Math.abs(dy) ? [dx, 0] : [0, Math.max(0, dy)];
}
