// Three heaps on the page: one frame after the other, large; then the heaps, and the press that makes marks of them.
import { $, el, fill, say } from "../shared/dom.js";
import { Viewport } from "../shared/viewport.js";
import { sentence } from "./drawing.js";
import { HEAPS, Heaps } from "./heaps.js";
import { HAND } from "./large.js";
import { Held, Sharpening } from "./pictures.js";

/** As the large view's choice says. */
function singleKeys() {
  try {
    return localStorage.getItem("single-keys") !== "0";
  } catch {
    return true;
  }
}

export class HeapsView {
  /** order(ids): go on with these in the knock-out; most: how many that takes; meanwhile: what others did; refused():
      were marks not taken? */
  constructor(place, { frames, marks, words, meanwhile, refused, order, most }) {
    Object.assign(this, { place, frames, marks, words, meanwhile, refused, order, most });
    this.moved = -HAND;
    this.picture = $("#heaps-picture", place);
    this.view = new Viewport($("#heaps-stage", place), this.picture, {
      onChange: () => this.view?.zoomed && this.files.soft() && this.files.closer(),
    });
    this.files = new Sharpening(new Held(), {
      show: (src) => (src ? this.picture.setAttribute("src", src) : this.picture.removeAttribute("src")),
      stretch: (image) => (this.frame.width * this.view.scale * (window.devicePixelRatio || 1)) / image.naturalWidth,
      poor: () => say(words.small_only),
    });
    place.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (button?.dataset.heap) this.lay(button.dataset.heap);
      else if (button) this[button.dataset.does]?.();
    });
    document.addEventListener("keydown", (event) => this.key(event));
  }
  get frame() {
    return this.frames.get(this.heaps.frame);
  }
  start(ids) {
    this.heaps = new Heaps(ids);
    this.marked = null;
    this.place.hidden = false;
    this.show();
    $("[data-heap]", this.place).focus({ preventScroll: true });
  }
  lay(heap) {
    if (this.heaps.over) return;
    if (performance.now() - this.moved < HAND) {
      say(this.words.moved);
      return;
    }
    const { label } = this.frame;
    this.heaps.lay(heap);
    say(fill(this.words[`laid_${heap}`], { label }));
    this.show();
  }
  back() {
    const ended = this.heaps.over;
    if (this.marked || !this.heaps.back()) return;
    say(this.words.taken_back);
    this.show();
    if (ended || document.activeElement === document.body || document.activeElement.disabled)
      $("[data-heap]", this.place).focus({ preventScroll: true });
  }
  show() {
    const { heaps, words } = this,
      asks = $("#heaps-asks", this.place),
      ends = $("#heaps-end", this.place);
    asks.hidden = heaps.over;
    ends.hidden = !heaps.over;
    $("[data-does=back]", asks).disabled = heaps.place === 0;
    if (heaps.over) {
      this.end();
      return;
    }
    const { frame } = this,
      { id, label } = frame;
    $("#heaps-question", this.place).textContent = fill(words.which_heap, {
      label,
      i: heaps.place + 1,
      n: heaps.ids.length,
    });
    this.picture.alt = sentence(words, frame, this.marks.of(id), this.marks.othersOf(id));
    this.view.zoom = 0;
    this.view.show(frame.width, frame.height, frame.eyes);
    this.files.open(frame, { ahead: heaps.coming.map((one) => this.frames.get(one)) });
  }
  end() {
    const { heaps, words } = this;
    this.files.close();
    for (const heap of HEAPS) {
      const ids = heaps.of(heap),
        part = $(`[data-of=${heap}]`, this.place);
      $("h3 span", part).textContent = String(ids.length);
      $("ul", part).replaceChildren(
        ...ids.map((id) => {
          const { label, small, width, height } = this.frames.get(id);
          const picture = el("img", { src: small, width, height, loading: "lazy", alt: fill(words.frame, { label }) });
          return el("li", {}, picture, el("span", { className: "typed", textContent: label, ariaHidden: "true" }));
        }),
      );
    }
    const wanted = heaps.of("yes").length;
    $("[data-does=knockout]", this.place).hidden = wanted < 2 || wanted > this.most;
    this.told();
    $("#heaps-end h2", this.place).focus();
  }
  /** What the press does, in numbers, or what it did. */
  told() {
    const { heaps, words, marked } = this,
      [picks, alternates, left] = HEAPS.map((heap) => heaps.of(heap).length);
    const over = picks > this.marks.state.allowance ? words.heaps_over : "";
    $("#heaps-told", this.place).textContent = marked
      ? words.heaps_marked
      : this.meanwhile.why ||
        [fill(words.heaps_will, { picks, alternates, left }), fill(over, { n: this.marks.state.allowance })].join(" ");
    const button = $("[data-does=mark]", this.place),
      strike = $("#heaps-strike", this.place);
    if (button) {
      const lost = document.activeElement === button;
      button.textContent = marked ? words.heaps_unmark : words.heaps_mark;
      button.hidden = strike.parentElement.hidden = Boolean(this.meanwhile.why);
      if (lost && button.hidden) $("#heaps-end h2", this.place).focus();
      strike.disabled = Boolean(marked);
    }
    $("#heaps-end [data-does=back]", this.place).disabled = Boolean(marked);
  }
  /** One press sets the marks, the same takes them back. */
  mark() {
    if (!this.meanwhile.markable()) return;
    const there = ([id]) => this.heaps.ids.includes(id);
    if (this.marked) for (const [id, before] of this.marked.filter(there)) this.marks.set(id, before);
    else {
      const changes = this.heaps.marks((id) => this.marks.of(id).kind, $("#heaps-strike", this.place).checked);
      for (const [id, , after] of changes) this.marks.set(id, after);
      this.marked = changes;
      this.told();
      say(this.words.heaps_marked);
      return;
    }
    this.marked = null;
    this.told();
    say(this.words.taken_back);
  }
  /** Go on in the knock-out: with the first heap, or with all of them as if there had been no heaps. */
  knockout() {
    this.order(this.heaps.of("yes"));
  }
  instead() {
    this.order(this.heaps.ids);
  }
  /** The list was closed or marks were not taken: what the press did is not said any more, nor offered. */
  refresh() {
    if (this.place.hidden || !this.heaps.over) return;
    if (this.refused() || this.meanwhile.why) this.marked = null;
    this.told();
  }
  /** These frames are on the sheet no longer. Are heaps still being made, or shown? */
  remove(ids) {
    if (this.place.hidden) return false;
    const { heaps } = this,
      { frame, over } = heaps;
    for (const id of ids) heaps.remove(id);
    if (!over && ids.includes(frame)) this.moved = performance.now(); // a hand is about to lay another frame now
    const at = document.activeElement;
    this.show();
    if (over && at?.checkVisibility()) at.focus(); // the heaps stand already: nobody is led to their head again
    return true;
  }
  close() {
    this.files.close();
    this.place.hidden = true;
  }
  key(event) {
    if (this.place.hidden || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, textarea, select") || !singleKeys()) return;
    const heap = { y: "yes", h: "perhaps", n: "no" }[event.key.toLowerCase()];
    if (heap && !this.heaps.over) this.lay(heap);
    else if (event.key.toLowerCase() === "t") this.back();
    else return;
    event.preventDefault();
  }
}
