// A final before and after: the line is drawn over the picture itself, the page still scrolls; a long press, or the
// arrows and Enter, pin a note to a point or a box.
import { $, $$, data, fill, number, reveal, say } from "../shared/dom.js";
import { Viewport } from "../shared/viewport.js";

const HOLD = 500, // milliseconds of a long press
  SLIP = 10; // how far a finger may slip meanwhile, in CSS pixels
const words = data("words"),
  stage = $("#stage"),
  pictures = $("#pictures");
const after = $("#after"),
  before = $("#before"),
  split = $("#split"),
  blink = $("#blink"),
  point = $("#point"),
  dialog = $("#pinning"),
  fresh = $("#new-pin");
const width = Number(stage.dataset.width ?? 3),
  height = Number(stage.dataset.height ?? 4);
const clamp = (value, least = 0, most = 1) => Math.min(most, Math.max(least, value));
let at = 0.5; // where the line stands, in the part of the picture that is seen

const view = new Viewport(stage, pictures, { onChange: () => draw() });
function shape() {
  // A retouch of another shape is laid over by its width; its own height says so.
  const tall = after?.naturalWidth ? Math.max(height, (width * after.naturalHeight) / after.naturalWidth) : height;
  view.show(width, tall, null);
}
/** The part of the picture that is seen: from and to, across the stage. */
function seen() {
  const { left, width: wide } = view.box;
  return [Math.max(0, left), Math.min(stage.clientWidth, left + wide)];
}
function draw() {
  if (!view?.box) return;
  $("#zoom").setAttribute("aria-pressed", String(view.zoomed));
  line();
  pins();
  scaleWords();
}
function line() {
  if (!split) return;
  const [from, to] = seen(),
    x = from + at * (to - from);
  const left = blinking() ? 1 : clamp((x - view.box.left) / view.box.width);
  before.style.clipPath = `inset(0 ${(100 - left * 100).toFixed(2)}% 0 0)`;
  split.hidden = blinking();
  split.style.left = `${x}px`;
  split.style.top = `${Math.max(0, view.box.top)}px`;
  split.style.height = `${Math.min(stage.clientHeight, view.box.height)}px`;
  const percent = Math.round(at * 100);
  split.setAttribute("aria-valuenow", String(percent));
  split.setAttribute("aria-valuetext", fill(words.slider, { n: percent }));
  $("#word-left").hidden = !blinking() && at < 0.12;
  $("#word-right").hidden = blinking() || at > 0.88;
  $("#word-left").style.left = `${from + 8}px`;
  $("#word-right").style.right = `${stage.clientWidth - to + 8}px`;
}
const blinking = () => blink?.getAttribute("aria-pressed") === "true";
function move(to) {
  at = clamp(to);
  line();
}
/** How close the picture is, said in its own pixels; the finished file holds more of them. */
function scaleWords() {
  const place = $("#word-scale");
  place.hidden = !view.zoomed;
  const natural = after?.naturalWidth || before?.naturalWidth || width;
  const n = Math.round(((view.scale * width) / natural) * devicePixelRatio * 100);
  const finer = Number(stage.dataset.finished ?? 0) / natural;
  place.textContent = finer > 1.05 ? fill(words.scale, { n, m: number(finer, 1, 0) }) : fill(words.scale_plain, { n });
}
/** Pins keep their size while the picture grows. */
function pins() {
  for (const pin of $$(".pin[data-place]", pictures)) {
    const [x, y, w, h] = pin.dataset.place.split(" ").map(Number);
    pin.style.left = `${x * 100}%`;
    pin.style.top = `${y * 100}%`;
    pin.classList.toggle("box", w > 0 && h > 0);
    pin.style.width = w > 0 ? `${w * 100}%` : "";
    pin.style.height = h > 0 ? `${h * 100}%` : "";
    pin.style.setProperty("--scale", String(1 / view.scale));
  }
}

// --- by keys ---
split?.addEventListener("keydown", (event) => {
  const far = { ArrowLeft: -0.02, ArrowDown: -0.02, ArrowRight: 0.02, ArrowUp: 0.02, PageUp: 0.1, PageDown: -0.1 };
  if (event.key in far) move(at + far[event.key]);
  else if (event.key === "Home") move(0);
  else if (event.key === "End") move(1);
  else return;
  event.preventDefault();
  event.stopPropagation();
});
blink?.addEventListener("click", () => {
  const on = !blinking();
  blink.setAttribute("aria-pressed", String(on));
  say(on ? words.showing_before : words.showing_after);
  line();
});
$("#zoom").addEventListener("click", () => view.toggle());
$("#zoom-in").addEventListener("click", () => view.by(1.4));
$("#zoom-out").addEventListener("click", () => view.by(1 / 1.4));
stage.tabIndex = 0;
stage.setAttribute("role", "group");
stage.setAttribute("aria-label", words.stage);
stage.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (pointing && event.key === "Enter") compose();
  else if (pointing && event.key === "Escape") letGo();
  else if (pointing && way) aim(spot[0] + way[0] * 0.02, spot[1] + way[1] * 0.02);
  else if (way && view.zoomed) view.pan(way[0] * 60, way[1] * 60);
  else if (event.key.toLowerCase() === "b") blink?.click();
  else if (event.key === "+") view.by(1.25);
  else if (event.key === "-") view.by(0.8);
  else return;
  event.preventDefault();
});

// --- pinning ---
let pointing = false,
  spot = [0.5, 0.4],
  box = [0, 0];
const percent = (value) => Math.round(clamp(value) * 1000) / 10;
function aim(x, y) {
  spot = [clamp(x), clamp(y)];
  box = [0, 0];
  show();
  say(fill(words.pin_at, { x: percent(spot[0]), y: percent(spot[1]) }));
}
function show() {
  fresh.hidden = false;
  fresh.dataset.place = [...spot, ...box].join(" ");
  pins();
}
function compose() {
  const fields = dialog.querySelector("form").elements;
  [fields.x.value, fields.y.value] = spot.map(percent);
  [fields.width.value, fields.height.value] = box.map(percent);
  $("#pinned-at").textContent = fill(words.pin_at, { x: fields.x.value, y: fields.y.value });
  dialog.showModal();
  $("#wish").focus();
}
function letGo() {
  pointing = false;
  point?.setAttribute("aria-pressed", "false");
  stage.classList.remove("pointing");
  fresh.hidden = true;
}
point?.addEventListener("click", () => {
  if (pointing) return letGo();
  pointing = true;
  point.setAttribute("aria-pressed", "true");
  stage.classList.add("pointing");
  const [from, to] = seen();
  spot = [
    clamp(((from + to) / 2 - view.box.left) / view.box.width),
    clamp((stage.clientHeight / 2 - view.box.top) / view.box.height),
  ];
  box = [0, 0];
  show();
  stage.focus();
  say(words.pin_here);
});
dialog?.addEventListener("close", () => {
  letGo();
  stage.focus();
});
$("#pin-away")?.addEventListener("click", () => dialog.close());

// --- by pointer: across it draws the line, held it pins, down it scrolls the page ---
let press = null;
const own = (event) => press?.id === event.pointerId;
function forget() {
  clearTimeout(press?.timer);
  press = null;
}
function hold() {
  press.mode = "pin";
  view.pointercancel({ pointerId: press.id });
  spot = press.from;
  box = [0, 0];
  show();
  say(words.holding);
}
function drawBox([x, y]) {
  const [fromX, fromY] = press.from;
  const wide = Math.abs(clamp(x) - fromX),
    tall = Math.abs(clamp(y) - fromY);
  const large = wide > 0.015 && tall > 0.015;
  spot = large ? [Math.min(fromX, clamp(x)), Math.min(fromY, clamp(y))] : press.from;
  box = large ? [wide, tall] : [0, 0];
  show();
}
stage.addEventListener(
  "pointerdown",
  (event) => {
    if (press) return forget(); // a second finger: that is a pinch
    if (event.button || event.target.closest("button, a")) return;
    const place = view.at(event),
      inside = place.every((value) => value >= 0 && value <= 1);
    press = {
      id: event.pointerId,
      x: event.clientX,
      y: event.clientY,
      mode: "",
      from: place,
      grip: event.target === split,
    };
    if (pointing && inside) {
      event.stopImmediatePropagation();
      event.preventDefault();
      stage.setPointerCapture(event.pointerId);
      hold();
    } else if (dialog && inside) press.timer = setTimeout(hold, HOLD);
  },
  true,
);
stage.addEventListener(
  "pointermove",
  (event) => {
    if (!own(event)) return;
    const dx = event.clientX - press.x,
      dy = event.clientY - press.y;
    if (Math.hypot(dx, dy) > SLIP) clearTimeout(press.timer);
    const across = Math.abs(dx) > 5 && Math.abs(dx) > Math.abs(dy);
    if (!press.mode && split && across && (press.grip || !view.zoomed)) press.mode = "line";
    if (!press.mode) return;
    event.stopImmediatePropagation();
    if (press.mode === "pin") return drawBox(view.at(event));
    const [from, to] = seen();
    move((event.clientX - stage.getBoundingClientRect().left - from) / (to - from));
  },
  true,
);
stage.addEventListener(
  "pointerup",
  (event) => {
    if (!own(event)) return;
    const { mode } = press;
    forget();
    if (!mode) return;
    event.stopImmediatePropagation();
    view.pointercancel(event);
    if (mode === "pin") compose();
  },
  true,
);
stage.addEventListener("pointercancel", (event) => own(event) && forget(), true);
// What is being drawn does not scroll the page; a held finger opens no menu of the browser's.
stage.addEventListener("touchmove", (event) => press?.mode && event.preventDefault(), { passive: false });
stage.addEventListener("contextmenu", (event) => event.preventDefault());
// A wheel scrolls the page, as everywhere; with Ctrl (or two fingers on a touchpad) it brings the picture closer.
stage.addEventListener("wheel", (event) => event.ctrlKey || event.stopImmediatePropagation(), { capture: true });

reveal();
if (after && !after.complete) after.addEventListener("load", shape);
shape();
document.documentElement.dataset.ready = "1";
