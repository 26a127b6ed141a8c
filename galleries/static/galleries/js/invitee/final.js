// A final before and after: a line that moves, a blink, zoom on the place; and notes pinned to a point or a box.
import { $, $$, data, fill, reveal, say } from "../shared/dom.js";
import { Viewport } from "../shared/viewport.js";

const words = data("words"),
  stage = $("#stage"),
  pictures = $("#pictures");
const after = $("#after"),
  before = $("#before"),
  split = $("#split"),
  blink = $("#blink"),
  point = $("#point");
const width = Number(stage.dataset.width ?? 3),
  height = Number(stage.dataset.height ?? 4);
const fields = Object.fromEntries(["x", "y", "width", "height"].map((name) => [name, document.getElementById(name)]));
let pointing = false,
  from = null;

const view = new Viewport(stage, pictures, {
  onChange: () => {
    line();
    $("#zoom")?.setAttribute("aria-pressed", String(view?.zoomed ?? false));
    pins();
  },
});
function ratio() {
  // A retouch of another shape is laid over by its width; its own height says so.
  if (after?.naturalWidth) view.show(width, Math.max(height, (width * after.naturalHeight) / after.naturalWidth), null);
  else view.show(width, height, null);
}
function line() {
  if (!split || !before || !after) return;
  const left = blink.getAttribute("aria-pressed") === "true" ? 100 : Number(split.value);
  before.style.clipPath = `inset(0 ${100 - left}% 0 0)`;
  $("#word-left").hidden = left < 8;
  $("#word-right").hidden = left > 92;
  split.setAttribute("aria-valuetext", fill(words.slider, { n: left }));
  stage.style.setProperty("--line", `${left}%`);
  pictures.style.setProperty("--line", `${left}%`);
}
/** Pins keep their size while the picture grows. */
function pins() {
  const scale = view?.scale ?? 1;
  for (const pin of $$(".pin[data-place]", pictures)) {
    const [x, y, w, h] = pin.dataset.place.split(" ").map(Number);
    pin.style.left = `${x * 100}%`;
    pin.style.top = `${y * 100}%`;
    pin.classList.toggle("box", w > 0 && h > 0);
    pin.style.width = w > 0 ? `${w * 100}%` : "";
    pin.style.height = h > 0 ? `${h * 100}%` : "";
    pin.style.setProperty("--scale", String(1 / scale));
  }
}
split?.addEventListener("input", line);
blink?.addEventListener("click", () => {
  const on = blink.getAttribute("aria-pressed") !== "true";
  blink.setAttribute("aria-pressed", String(on));
  say(on ? words.showing_before : words.showing_after);
  line();
});
document.addEventListener("keydown", (event) => {
  if (event.key.toLowerCase() === "b" && !event.ctrlKey && !event.metaKey && stage.contains(document.activeElement))
    blink?.click();
});
$("#zoom").addEventListener("click", () => view.toggle());
$("#zoom-in").addEventListener("click", () => view.by(1.4));
$("#zoom-out").addEventListener("click", () => view.by(1 / 1.4));
stage.tabIndex = 0;
stage.setAttribute("role", "group");
stage.addEventListener("keydown", (event) => {
  const far = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] }[event.key];
  if (far && view.zoomed) {
    event.preventDefault();
    view.pan(...far);
  }
  if (event.key === "+") view.by(1.25);
  if (event.key === "-") view.by(0.8);
});

// --- pinning: by pointer, or by the number fields alone ---
const percent = (value) => Math.round(Math.min(1, Math.max(0, value)) * 1000) / 10;
function fresh() {
  if (!fields.x) return;
  const pin = $("#new-pin");
  pin.dataset.place = [fields.x, fields.y, fields.width, fields.height]
    .map((field) => Number(field.value || 0) / 100)
    .join(" ");
  pins();
}
point?.addEventListener("click", () => {
  pointing = !pointing;
  point.setAttribute("aria-pressed", String(pointing));
  stage.classList.toggle("pointing", pointing);
  $("#new-pin").hidden = false;
  say(pointing ? words.pin_here : "");
  fresh();
});
stage.addEventListener(
  "pointerdown",
  (event) => {
    if (!pointing) return;
    event.stopImmediatePropagation();
    event.preventDefault();
    stage.setPointerCapture(event.pointerId);
    from = view.at(event);
  },
  true,
);
stage.addEventListener(
  "pointermove",
  (event) => {
    if (pointing && from) place(from, view.at(event));
  },
  true,
);
stage.addEventListener(
  "pointerup",
  (event) => {
    if (!pointing || !from) return;
    place(from, view.at(event));
    from = null;
    say(fill(words.pin_at, { x: fields.x.value, y: fields.y.value }));
    $("#text").focus();
  },
  true,
);
function place([x1, y1], [x2, y2]) {
  const box = Math.abs(x2 - x1) > 0.015 && Math.abs(y2 - y1) > 0.015;
  const clamp = (value) => Math.min(1, Math.max(0, value));
  fields.x.value = percent(Math.min(x1, box ? x2 : x1));
  fields.y.value = percent(Math.min(y1, box ? y2 : y1));
  fields.width.value = box ? percent(Math.abs(clamp(x2) - clamp(x1))) : 0;
  fields.height.value = box ? percent(Math.abs(clamp(y2) - clamp(y1))) : 0;
  fresh();
}
for (const field of Object.values(fields)) {
  field?.addEventListener("input", () => {
    $("#new-pin").hidden = false;
    fresh();
  });
}

reveal();
if (after && !after.complete) after.addEventListener("load", ratio);
ratio();
line();
pins();
document.documentElement.dataset.ready = "1";
