// The sheet's films. A long sheet comes with the cells of its first screens only; the others are made here of what the
// page was told of every frame: when their place comes near the window, when one of them is wanted, and all of them
// while the browser has nothing else to do, so that the whole sheet can be searched, read out and printed.
import { $, $$ } from "../shared/dom.js";
import { afterFrame, idle, settled } from "../shared/later.js";

const STEP = 4, // cells: a slow phone makes so many in about 5 ms
  SLICE = 12, // ms that may go by before the browser is let at its own work
  NEAR = "150% 0px", // of the window, around it
  CALM = 1500, // ms since the last sign of a hand: what is made for later disturbs nobody
  SIGNS = ["pointerdown", "pointerup", "keydown", "scroll"];
const numberOf = (cell) => Number(cell.id.slice(1)); // its id is "f" and the frame's number

/** One look's strip: the ids of its frames in order, and how many of them have a cell. The place of the others is kept
    by a last item, `rest`, that is gone when there is none. */
class Film {
  constructor(strip, ids) {
    Object.assign(this, { strip, ids, film: $(".film", strip), picked: $("[data-picked]", strip) });
    this.rest = $(":scope > .rest", this.film);
    this.ready = this.rest ? this.film.children.length - 1 : ids.length;
  }
  get left() {
    return this.ids.length - this.ready;
  }
  /** Is it not there yet, for its height is not known? */
  get later() {
    return this.strip.classList.contains("later");
  }
}

export class Films {
  /** frames: by id, in the sheet's order; fill(cell, frame): what a copy of the first cell is to say; hidden: ids that
      are not shown now */
  constructor(strips, { frames, fill, hidden }) {
    Object.assign(this, { frames, fill, hidden, items: new Map(), listeners: [], around: 62, inner: 62, beside: 40 });
    const ids = new Map(strips.map((strip) => [strip.dataset.place, []]));
    for (const { id, look } of frames.values()) ids.get(String(look ?? ""))?.push(id);
    this.all = strips.map((strip) => new Film(strip, ids.get(strip.dataset.place)));
    this.films = new Map(this.all.map((one) => [one.film, one]));
    for (const cell of $$(".frame")) this.items.set(numberOf(cell), cell);
    this.near = new Set();
    let wide = innerWidth;
    addEventListener("resize", () => {
      if (innerWidth === wide) return; // a bar of the browser's came or went
      wide = innerWidth;
      this.heights();
    });
    if (this.left) this.begin();
  }
  get left() {
    return this.all.reduce((left, one) => left + one.left, 0);
  }
  begin() {
    this.like = $(".frame").cloneNode(true);
    $("img", this.like).removeAttribute("src"); // no picture is asked for twice
    this.places = new IntersectionObserver((entries) => this.neared(entries), { rootMargin: NEAR });
    for (const { rest } of this.all) if (rest) this.places.observe(rest);
    addEventListener("beforeprint", () => this.makeAll());
    this.moved = performance.now();
    const moved = () => {
      this.moved = performance.now();
    };
    for (const sign of SIGNS) addEventListener(sign, moved, { passive: true, capture: true });
    settled().then(() => this.whenIdle());
  }
  neared(entries) {
    const waits = this.near.size;
    for (const { target, isIntersecting } of entries) {
      const film = this.films.get(target.parentElement);
      if (isIntersecting && film) this.near.add(film);
      else this.near.delete(film);
    }
    if (!waits) this.hasten();
  }
  /** What is near, a slice in each frame that is drawn. */
  hasten() {
    const [film] = this.near;
    if (!film) return;
    this.slice(film, SLICE);
    afterFrame(() => this.hasten());
  }
  whenIdle() {
    idle((deadline) => {
      const film = this.all.find(({ left }) => left),
        waits = this.moved + CALM - performance.now();
      if (!film) return;
      if (waits > 0) return setTimeout(() => this.whenIdle(), waits);
      this.slice(film, Math.min(SLICE, deadline?.timeRemaining?.() ?? SLICE));
      this.whenIdle();
    });
  }
  slice(film, ms) {
    const until = performance.now() + ms;
    const cells = [];
    do cells.push(...this.cells(film, STEP));
    while (film.left && performance.now() < until);
    this.put(film, cells);
  }
  cells(film, many) {
    const ids = film.ids.slice(film.ready, film.ready + many);
    film.ready += ids.length;
    return ids.map((id) => {
      const cell = this.like.cloneNode(true);
      this.fill(cell, this.frames.get(id));
      cell.hidden = this.hidden.has(id);
      this.items.set(id, cell);
      return cell;
    });
  }
  put(film, cells) {
    const { rest } = film,
      held = rest.contains(document.activeElement);
    rest.before(...cells);
    if (held) $("a.open", cells[0])?.focus({ preventScroll: true });
    if (film.left) this.keepPlace(film);
    else {
      this.places.unobserve(rest);
      this.near.delete(film);
      rest.remove();
    }
    for (const listener of this.listeners) listener(cells);
  }
  makeAll() {
    for (const film of this.all) if (film.left) this.put(film, this.cells(film, film.left));
  }
  /** The cell of a frame, made now where it was not yet; undefined where there is no such frame. */
  cell(id) {
    const film = this.items.has(id) ? null : this.all.find(({ ids }) => ids.includes(id));
    if (film) this.put(film, this.cells(film, film.ids.indexOf(id) + 1 - film.ready));
    return this.items.get(id);
  }
  shown(ids) {
    return ids.filter((id) => !this.hidden.has(id)).length;
  }
  /** The height that a strip outside the window will have, so that the scroll bar tells the truth, and that of the
      frames that have no cell yet, which is the same before and after. */
  heights() {
    // All that is read is read before anything is written, and of one strip of each shape only: to ask for the layout
    // of a strip outside the window makes the browser lay it out.
    const measured = new Map();
    for (const one of this.all.filter(({ ids, strip }) => this.shown(ids) && !strip.hidden).reverse())
      if (!measured.has(shapeOf(one)) || !one.later) measured.set(shapeOf(one), one);
    for (const one of measured.values()) if (one.later) one.strip.classList.remove("later");
    this.grids = {};
    for (const [shape, one] of measured) {
      const columns = getComputedStyle(one.film).gridTemplateColumns.split(" "),
        width = parseFloat(columns[0]),
        cell = this.items.get(one.ids.find((id) => !this.hidden.has(id)));
      this.grids[shape] = { across: columns.length, width };
      if (!cell) continue;
      const { paddingTop, paddingBottom } = getComputedStyle(one.film);
      this.around = cell.getBoundingClientRect().height - width * tallness(one); // the edge and the buttons
      this.inner = this.around - parseFloat(getComputedStyle(cell).paddingBottom); // a size to come is of the content
      this.beside = one.strip.offsetHeight - one.film.offsetHeight + parseFloat(paddingTop) + parseFloat(paddingBottom);
    }
    for (const one of this.all) {
      const shown = this.shown(one.ids);
      // A cell that was not drawn yet is as high as it will be.
      one.strip.style.setProperty("--cell", `${this.gridOf(one).width}px`);
      one.strip.style.setProperty("--around", `${this.inner}px`);
      one.strip.style.containIntrinsicSize = `auto 100vw auto ${this.beside + this.height(one, shown)}px`;
      one.strip.hidden = shown === 0;
      one.strip.classList.remove("later");
      if (one.left) this.keepPlace(one);
    }
  }
  gridOf(film) {
    return this.grids[shapeOf(film)] ?? { across: 2, width: 190 };
  }
  height(film, frames) {
    const { across, width } = this.gridOf(film);
    return Math.ceil(frames / across) * (width * tallness(film) + this.around);
  }
  keepPlace(film) {
    const there = this.height(film, this.shown(film.ids.slice(0, film.ready)));
    film.rest.style.blockSize = `${this.height(film, this.shown(film.ids)) - there}px`;
  }
}
const shapeOf = ({ strip }) => ["lying", "lone"].filter((name) => strip.classList.contains(name)).join(" ");
const tallness = ({ strip }) =>
  strip.className
    .match(/cell-(\d)x(\d)/)
    .slice(1)
    .reduce((wide, high) => high / wide);
