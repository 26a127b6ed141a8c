// One frame large: step, zoom on the eyes, black and white, a crop laid over, the surround, notes and talk.
import { $, $$, el, fill, say } from "../shared/dom.js";
import { afterFrame, idle, settled } from "../shared/later.js";
import { onLift } from "../shared/lift.js";
import { ask, sentenceOf } from "../shared/net.js";
import { Viewport } from "../shared/viewport.js";
import { sentence } from "./drawing.js";
import { Held, Sharpening } from "./pictures.js";
import { measure, meeting, sound } from "./steady.js";

// What a finger does here again and again: done when it lifts.
const AT_ONCE = ["pick", "alternate", "strike", "undo", "previous", "next", "close"]
  .map((act) => `[data-act=${act}]`)
  .join();

export const HAND = 700; // ms in which a hand still presses what it saw before (common practice, no source)

const kept = (name, fallback) => {
  try {
    return localStorage.getItem(name) ?? fallback;
  } catch {
    return fallback;
  }
};
const keep = (name, value) => {
  try {
    localStorage.setItem(name, value);
  } catch {
    /* for this page only */
  }
};

const cellOf = (id) => document.getElementById(`f${id}`);

export class Large {
  /** order(): the ids as the page shows them now; cell(id): its item there; mark(id, kind); undo(); busy(on): are
      pictures of this to come? */
  constructor(dialog, { frames, marks, words, config, order, cell = cellOf, mark, undo, busy }) {
    Object.assign(this, { dialog, frames, marks, words, config, order, cell, mark, undo });
    this.stage = $("#stage", dialog);
    this.picture = $("#large-picture", dialog);
    this.view = new Viewport(this.stage, this.picture, {
      onStep: (by) => this.step(this.backwards ? -by : by),
      onChange: () => this.placed(),
      onDown: () => this.close(),
    });
    this.files = new Sharpening(new Held(), {
      show: (src) => this.put(src),
      stretch: (image) => (this.frame.width * this.view.scale * (window.devicePixelRatio || 1)) / image.naturalWidth,
      poor: () => this.poor(),
      busy,
    });
    this.way = 1; // the one the person goes: on, or back
    onLift(dialog, AT_ONCE, (button) => this.do(button.dataset.act));
    dialog.addEventListener("click", (event) => this.click(event));
    dialog.addEventListener("keydown", (event) => this.key(event));
    dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.close();
    });
    $("#crop-choice", dialog).addEventListener("change", () => this.placed());
    $("#remark-form", dialog)?.addEventListener("submit", (event) => {
      event.preventDefault();
      this.remark();
    });
    dialog.addEventListener("close", () => {
      this.files.close();
      $("#tray").prepend(...this.voices);
      // On a phone the next frame opens as a picture, not as a form with a stamp above it.
      if (matchMedia("(max-width: 48rem)").matches && !$("#large-talk", dialog).hidden) this.do("talk");
    });
    window.addEventListener("popstate", () => this.fromAddress());
    const keys = $("#keys-on", dialog);
    keys.checked = kept("single-keys", "1") === "1";
    keys.addEventListener("change", () => keep("single-keys", keys.checked ? "1" : "0"));
    this.surround(kept("surround", "dark"));
    this.goesOn();
    this.hold(sound(kept(this.measureName, "")));
    // Laid out before anybody opens it, when the page is through with its own.
    settled().then(() => idle(() => dialog.classList.add("ahead")));
  }
  /** Back closes, a copied address opens: the frame stands in the address. */
  fromAddress() {
    const id = Number(location.hash.match(/^#frame-(\d+)$/)?.[1]);
    if (this.frames.has(id)) this.show(id);
    else if (this.dialog.open) this.hide();
  }
  open(id) {
    this.show(id);
    this.unwritten = true;
    afterFrame(() => {
      if (!this.unwritten) return;
      this.unwritten = false;
      history.pushState({ large: true }, "", `#frame-${this.id}`);
    });
  }
  /** The frame that is shown, into the address, after its first frame; the one it was opened with comes by `open`. */
  written() {
    afterFrame(() => {
      if (this.dialog.open && !this.unwritten) history.replaceState(history.state, "", `#frame-${this.id}`);
    });
  }
  close() {
    const { id } = this;
    if (this.unwritten) this.hide();
    else if (history.state?.large) history.back();
    else {
      history.replaceState(null, "", location.pathname + location.search);
      this.hide();
    }
    setTimeout(() => {
      const cell = this.cell(id),
        back = cell && $("a.open", cell);
      back?.focus({ preventScroll: true });
      back?.scrollIntoView({ block: "nearest" });
    }, 60);
  }
  hide() {
    this.unwritten = false;
    if (this.came) $("#said").replaceChildren(); // which frame is shown: none any more
    this.came = null;
    document.documentElement.classList.remove("covered");
    this.dialog.close();
    this.dialog.classList.remove("settled");
  }
  /** What is said is seen and heard where the person is: under the picture while it is large, else by the tray. */
  get voices() {
    return [$("#notices"), $("#said")];
  }
  get backwards() {
    return getComputedStyle(this.dialog).direction === "rtl";
  }
  /** The choice of who reads the note, where there is one. */
  get readers() {
    return $$("[name=note-readers]", this.dialog);
  }
  get frame() {
    return this.frames.get(this.id);
  }
  show(id) {
    this.keepNote();
    this.id = id;
    const { frame } = this,
      opening = !this.dialog.open;
    this.details = null;
    const note = $("#note", this.dialog);
    if (note) {
      const mine = this.marks.of(id);
      note.value = mine.note;
      // Where nothing is written yet, whoever was chosen last goes on being the reader.
      for (const one of mine.note ? this.readers : []) one.checked = (one.value === "studio") === Boolean(mine.alone);
      $("#note-said", this.dialog).textContent = "";
    }
    this.redraw();
    if (opening) {
      // The page below is covered whole: it is neither styled again nor painted until it is seen again.
      document.documentElement.classList.add("covered");
      $("#said").replaceChildren(); // what was said of another frame
      $(".large-foot", this.dialog).prepend(...this.voices);
      this.dialog.showModal(); // lays it out: its words stand in it by now
    }
    this.view.home = this.measure ? () => meeting(frame, this.measure, this.stage) : null;
    this.view.show(frame.width, frame.height, frame.eyes);
    const there = Boolean($(`#f${id} img`)?.naturalWidth);
    if (!opening) {
      this.settle(there);
      return;
    }
    this.put(there ? frame.small : "");
    afterFrame(() => this.id === id && this.dialog.open && this.settle(there));
  }
  /** What a frame brings besides its picture and its marks: after the first frame, when the view is just opened.
      there: is its small picture loaded? */
  settle(there) {
    const { id, frame } = this;
    this.dialog.classList.add("settled");
    $("#crop-choice", this.dialog).replaceChildren($("option", $("#crop-choice", this.dialog)));
    $("#talk-count", this.dialog).textContent = "";
    $("#remarks", this.dialog).replaceChildren();
    const order = this.order(),
      at = order.indexOf(id);
    $("#large-place", this.dialog).textContent = at < 0 ? "" : fill(this.words.place, { i: at + 1, n: order.length });
    this.steps(at > 0, at >= 0 && at < order.length - 1);
    const near = [this.way, 2 * this.way, -this.way].map((by) => this.frames.get(order[at + by]));
    this.files.open(frame, { there, ahead: at < 0 ? [] : near.filter(Boolean) });
    const alike = $("#compare-alike", this.dialog);
    alike.hidden = !(frame.alike > 1);
    if (frame.alike > 1) alike.href = `${this.config.compare}?run=${frame.run}`;
    clearTimeout(this.later);
    this.later = setTimeout(() => this.load(), 250); // not for frames that are only passed by
  }
  /** Which way one may step. The focus never stays on a button that goes dead: the keys would be heard no more. */
  steps(before, after) {
    const [previous, next, close] = ["previous", "next", "close"].map((act) => $(`[data-act=${act}]`, this.dialog));
    const lost = [!before && previous, !after && next].includes(document.activeElement);
    previous.disabled = !before;
    next.disabled = !after;
    if (lost) [previous, next, close].find((one) => !one.disabled).focus();
  }
  /** Into the picture; nothing rather than the frame before, until there is something of this one. */
  put(src) {
    if (src) this.picture.src = src;
    else this.picture.removeAttribute("src");
  }
  /** The small one stays. Not said of a frame that is just going from the sheet. */
  poor() {
    const { id } = this,
      stays = () => this.id === id && this.dialog.open;
    setTimeout(() => stays() && say(this.words.small_only), 3000);
  }
  /** Close on the picture, the large one is wanted at once; where it cannot come, what stands there is said. */
  async closer() {
    const { id } = this;
    if ((await this.files.closer()) || this.id !== id || !this.view.zoomed) return;
    say(this.words.middle_only);
  }
  async load() {
    const { id } = this;
    try {
      const said = await ask(this.config.frame.replace(/0$/, id));
      if (this.id !== id) return;
      this.details = said;
      $("#crop-choice", this.dialog).append(
        ...said.crops.map((crop, i) =>
          el("option", { value: String(i), textContent: crop.title, selected: crop.title === this.crop }),
        ),
      );
      this.talk();
      this.placed();
    } catch {
      /* without a network there is no talk; marks and notes go on */
    }
  }
  talk() {
    const { remarks, notes } = this.details;
    const line = (who, text, at) =>
      el(
        "li",
        {},
        el("cite", { textContent: who }),
        " ",
        at
          ? el("time", {
              dateTime: at,
              textContent: new Date(at).toLocaleString(document.documentElement.lang, {
                dateStyle: "medium",
                timeStyle: "short",
                timeZone: this.config.zone,
              }),
            })
          : "",
        el("br"),
        text,
      );
    const lines = [
      ...notes.map(({ who, text }) => line(who, text)),
      ...remarks.map(({ who, text, at }) => line(who, text, at)),
    ];
    $("#remarks", this.dialog).replaceChildren(
      ...(lines.length ? lines : [el("li", { className: "quiet", textContent: this.words.remark_empty })]),
    );
    $("#talk-count", this.dialog).textContent = lines.length ? ` (${lines.length})` : "";
  }
  async remark() {
    const box = $("#remark", this.dialog),
      form = new FormData();
    form.set("text", box.value);
    try {
      this.details = await ask(this.config.frame.replace(/0$/, this.id), { method: "POST", form });
      box.value = "";
      this.talk();
    } catch (error) {
      say(sentenceOf(error, { failed: this.words.failed, out: this.words.access_lost }));
    }
  }
  keepNote() {
    const note = $("#note", this.dialog);
    if (!note || !this.id) return false;
    const mine = this.marks.of(this.id),
      reader = this.readers.find((one) => one.checked)?.value,
      alone = reader && reader === "studio";
    const same = !mine.note || alone === undefined || alone === Boolean(mine.alone);
    if (note.value === mine.note && same) return false;
    this.marks.note(this.id, note.value, alone);
    return true;
  }
  redraw() {
    if (!this.id || !this.frame) return;
    const mine = this.marks.of(this.id),
      said = sentence(this.words, this.frame, mine, this.marks.othersOf(this.id));
    $("#large-no", this.dialog).textContent = this.frame.label;
    $("#large-look", this.dialog).textContent = this.frame.look
      ? fill(this.words.look, { n: this.frame.look })
      : this.words.no_look;
    $("#large-said", this.dialog).textContent = said;
    this.picture.alt = said;
    for (const kind of ["pick", "alternate", "strike"]) {
      $(`[data-act=${kind}]`, this.dialog)?.setAttribute("aria-pressed", String(mine.kind === kind));
    }
  }
  step(by) {
    const order = this.order(),
      next = order[order.indexOf(this.id) + by];
    if (!next) return;
    this.way = by < 0 ? -1 : 1;
    const { zoomed, zoom, x, y, eyes } = this.view,
      seen = zoomed && this.measure && measure(this.frame, this.view.box, this.stage);
    this.show(next);
    this.written();
    const same = seen && meeting(this.frame, seen, this.stage);
    if (same) this.view.set(same.zoom, same.x, same.y);
    // Close on it, the next frame shows the same distance from its own eyes, so that expressions can be compared.
    else if (zoomed)
      this.view.set(
        zoom,
        x + (this.frame.eyes?.[0] ?? 0) - (eyes?.[0] ?? 0),
        y + (this.frame.eyes?.[1] ?? 0) - (eyes?.[1] ?? 0),
      );
  }
  /** Whose face keeps its size and place here: each person's own on a sitting. */
  get measureName() {
    return `face-${this.config.person || this.config.sitting}`;
  }
  /** measure: what the faces of all frames are to look like (`steady.js`), null for each frame as it is. */
  hold(wanted) {
    this.measure = wanted;
    keep(this.measureName, wanted ? JSON.stringify(wanted) : "");
    $("[data-act=steady]", this.dialog).setAttribute("aria-pressed", String(Boolean(wanted)));
  }
  steady() {
    const { frame, view, stage } = this,
      wanted = this.measure ? null : measure(frame, view.box, stage);
    if (!wanted && !this.measure) {
      say(this.words.no_eyes);
      return;
    }
    this.hold(wanted);
    view.home = wanted ? () => meeting(this.frame, this.measure, stage) : null;
    view.set(0); // what stands there now is what the others are to look like
  }
  /** After a mark the next frame without one, where the person wants it so. */
  goesOn() {
    $("[data-act=onwards]", this.dialog)?.setAttribute("aria-pressed", String(Boolean(kept("goes-on", ""))));
  }
  onwards() {
    const order = this.order(),
      at = order.indexOf(this.id);
    const next = order.findIndex((id, place) => place > at && !this.marks.of(id).kind);
    if (next > 0) this.step(next - at);
  }
  /** These frames are about to go from the sheet: if one of them is shown, the next that stays is, or none. Whoever
      writes of it is not torn away: its picture goes, its words stay until the hand leaves them. */
  leave(gone) {
    if (!this.dialog.open || !gone.has(this.id)) return;
    const order = this.order(),
      at = Math.max(0, order.indexOf(this.id)),
      left = this.id;
    const next = [...order.slice(at), ...order.slice(0, at).reverse()].find((id) => !gone.has(id));
    const onwards = () => {
      if (this.id !== left || !this.dialog.open) return;
      if (next === undefined || !this.order().includes(next)) {
        this.close();
        return;
      }
      this.show(next);
      this.written();
      this.came = { left, at: performance.now() };
      say(fill(this.words.came_up, { label: this.frame.label }));
    };
    if (!this.writing) {
      onwards();
      return;
    }
    this.files.close();
    this.put("");
    say(fill(this.words.gone_writing, { label: this.frame.label }));
    const talk = $("#large-talk", this.dialog),
      look = () =>
        setTimeout(() => {
          if (this.id === left && this.dialog.open && this.writing) return;
          talk.removeEventListener("focusout", look);
          onwards();
        });
    talk.addEventListener("focusout", look);
  }
  /** Is a hand in words of this frame, or are some not said yet? */
  get writing() {
    return Boolean(document.activeElement?.matches("#note, #remark") || $("#remark", this.dialog)?.value.trim());
  }
  /** A press that was meant for the frame before, which went as the hand came: nothing is marked, and that is said. */
  late() {
    if (!this.dialog.open || !this.came || performance.now() - this.came.at > HAND) return false;
    const { words } = this,
      label = this.frames.get(this.came.left)?.label;
    say(`${fill(words.gone_mark, { label })} ${fill(words.came_up, { label: this.frame.label })}`);
    return true;
  }
  /** The picture moved: crop and words follow. */
  placed() {
    const { box, zoomed, scale } = this.view,
      shape = $("#crop-shape", this.dialog),
      choice = $("#crop-choice", this.dialog);
    const button = $("[data-act=zoom]", this.dialog);
    if (zoomed && this.files.soft()) this.closer();
    button.setAttribute("aria-pressed", String(zoomed));
    button.textContent = zoomed
      ? `${fill(this.words.percent, { n: this.percent(scale) })} · ${this.words.zoom_out}`
      : this.words.zoom_in;
    const crop = choice.value === "" ? null : this.details?.crops[Number(choice.value)];
    if (choice.selectedOptions.length && this.details) this.crop = crop?.title ?? "";
    shape.toggleAttribute("hidden", !crop);
    if (!crop) return;
    const { clientWidth: w, clientHeight: h } = this.stage;
    shape.setAttribute("viewBox", `0 0 ${w} ${h}`);
    const [l, t, r, b] = [
      box.left + crop.x * box.width,
      box.top + crop.y * box.height,
      box.left + (crop.x + crop.width) * box.width,
      box.top + (crop.y + crop.height) * box.height,
    ];
    $("path", shape).setAttribute("d", `M-9 -9H${w + 9}V${h + 9}H-9ZM${l} ${t}H${r}V${b}H${l}Z`);
    if (!crop.known) say(this.words.crop_estimated);
  }
  /** How large the camera's pixels are drawn, one on one of the screen being 100. */
  percent(scale) {
    return Math.round((scale * (window.devicePixelRatio || 1) * 100) / (this.frame?.finer || 1));
  }
  surround(which) {
    this.dialog.dataset.surround = which;
    keep("surround", which);
    $("[data-act=surround]", this.dialog).setAttribute("aria-pressed", String(which === "mid"));
  }
  click(event) {
    const button = event.target.closest("[data-act]");
    if (button && !button.matches(AT_ONCE)) this.do(button.dataset.act);
  }
  do(act) {
    if (["pick", "alternate", "strike"].includes(act)) {
      if (this.late()) return;
      this.mark(this.id, act);
      if (kept("goes-on", "") && this.marks.of(this.id).kind) this.onwards();
      return;
    }
    const doing = {
      close: () => this.close(),
      previous: () => this.step(-1),
      next: () => this.step(1),
      zoom: () => this.view.toggle(),
      undo: () => this.undo(),
      steady: () => this.steady(),
      monochrome: () => {
        const on = this.stage.classList.toggle("monochrome");
        $("[data-act=monochrome]", this.dialog).setAttribute("aria-pressed", String(on));
      },
      beside: () => {
        const alike = $("#compare-alike", this.dialog);
        if (alike.hidden) say(this.words.none_alike);
        else location.href = alike.href;
      },
      onwards: () => {
        keep("goes-on", kept("goes-on", "") ? "" : "1");
        this.goesOn();
      },
      surround: () => this.surround(this.dialog.dataset.surround === "dark" ? "mid" : "dark"),
      talk: () => {
        const panel = $("#large-talk", this.dialog);
        panel.hidden = !panel.hidden;
        $("[data-act=talk]", this.dialog).setAttribute("aria-expanded", String(!panel.hidden));
        if (!panel.hidden) ($("#note", panel) ?? $("#remark", panel)).focus();
      },
      "keep-note": () => {
        this.keepNote();
        const { note, alone } = this.marks.of(this.id);
        $("#note-said", this.dialog).textContent = note && alone ? this.words.saved_alone : this.words.saved;
      },
    };
    doing[act]?.();
  }
  key(event) {
    if (event.target.closest("input, textarea, select") || event.altKey) return;
    const far = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] }[event.key];
    if (far && event.shiftKey) {
      event.preventDefault();
      if (this.view.zoomed) this.view.pan(...far);
      return;
    }
    if (event.ctrlKey || event.metaKey) return;
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      event.preventDefault();
      this.step((event.key === "ArrowLeft") !== this.backwards ? -1 : 1);
      return;
    }
    if (!$("#keys-on", this.dialog).checked) return;
    if (event.key === "+") return this.view.by(1.25);
    if (event.key === "-") return this.view.by(0.8);
    const act = {
      e: "zoom",
      p: "pick",
      a: "alternate",
      s: "strike",
      t: "undo",
      n: "talk",
      b: "beside",
      f: "steady",
      m: "monochrome",
      g: "surround",
    }[event.key.toLowerCase()];
    if (act) {
      event.preventDefault();
      this.do(act);
    }
  }
}
