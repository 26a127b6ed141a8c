// The crop editor: one size at a time on the picture that is cut. Drag, arrows, number fields and tap buttons all
// go through the same arithmetic (crop-math.js), in pixels of the picture.

import { $, $$, data as dataOf, el, fill, number, plural } from "../shared/dom.js";
import { post, reach, sentenceOf } from "../shared/net.js";
import { clampTilt, fit, inside, moved, resized, sized } from "./crop-math.js";

const data = dataOf("crops");
const words = $("#words").dataset;
const frame = { width: data.width, height: data.height };
const crops = new Map(data.crops.map((crop) => [crop.size, { ...crop, kept: { ...crop } }]));
let now = data.crops[0]?.size ?? null;
const canvas = $("#canvas");
const box = $("#box");
const crop = () => crops.get(now);
const changed = (one) => ["x", "y", "width", "height", "tilt"].some((name) => one[name] !== one.kept[name]);
const percent = (value, whole) => `${(100 * value) / whole}%`;

// --- drawing ---------------------------------------------------------------------------------------------------

function draw() {
  const one = crop();
  if (!one) return;
  box.style.left = percent(one.x, frame.width);
  box.style.top = percent(one.y, frame.height);
  box.style.width = percent(one.width, frame.width);
  box.style.height = percent(one.height, frame.height);
  box.style.transform = one.tilt ? `rotate(${one.tilt}deg)` : "";
  guides(one);
  $("#n-x").value = one.x;
  $("#n-y").value = one.y;
  $("#n-width").value = one.width;
  $("#n-height").value = one.height;
  $("#n-tilt").value = one.tilt;
  $("#panel-title").textContent = one.title;
  $("#keep").disabled = !changed(one);
  for (const button of $$(".shape", $("#shapes"))) {
    const other = crops.get(button.dataset.size);
    button.setAttribute("aria-pressed", String(other.size === now));
    const told = changed(other) ? words.changed : other.byHand ? words.byhand : words.proposal;
    button.querySelector(".state").textContent = other.warnings.length
      ? `${told} · ${fill(words.warnings, { n: other.warnings.length })}`
      : told;
  }
  const grow = Math.max(one.out[0] / one.width, one.out[1] / one.height);
  const live = [];
  if (changed(one)) {
    if (grow > 1) live.push(fill(words.enlarged, { n: number(grow, 2) }));
  } else live.push(...one.warnings);
  list($("#warnings"), live.length ? live : [words.ok]);
  $("#warnings").classList.toggle("caution", live.length > 0);
  list($("#reasons"), changed(one) || one.byHand ? [measured(one)].filter(Boolean) : one.reasons);
}

const list = (place, lines) => place.replaceChildren(...lines.map((text) => el("li", { textContent: text })));

function measured(one) {
  if (!data.face || one.tilt) return "";
  const [, ry, , ly] = data.face.eyes;
  const eye = Math.round((100 * ((ry + ly) / 2 - one.y)) / one.height);
  const room = Math.round((100 * (data.face.crown - one.y)) / one.height);
  return fill(words.eye, { eye, room });
}

// Where the eyes should lie (33 to 42 % from the top), how far up the crown may reach, where the eyes are.
function guides(one) {
  const at = (name, share) => {
    box.querySelector(name).style.top = `${100 * share}%`;
  };
  at(".eyes-high", 0.33);
  at(".eyes-low", 0.42);
  at(".room", 0.03);
  const eye = box.querySelector(".eye-now");
  eye.hidden = !data.face || Boolean(one.tilt);
  if (data.face) at(".eye-now", ((data.face.eyes[1] + data.face.eyes[3]) / 2 - one.y) / one.height);
  const pixel = one.width / one.out[0];
  const inset = (one.bleed + one.safe) * pixel;
  const safe = box.querySelector(".edge-safe");
  safe.hidden = !inset;
  safe.style.inset = `${(100 * inset) / one.height}% ${(100 * inset) / one.width}%`;
  const [left, top, right, bottom] = one.covered.map((value) => value * pixel);
  const covered = box.querySelector(".covered");
  covered.hidden = !(left || top || right || bottom);
  const ofHeight = (pixels) => `${(100 * pixels) / one.height}%`;
  const ofWidth = (pixels) => `${(100 * pixels) / one.width}%`;
  covered.style.inset = `${ofHeight(top)} ${ofWidth(right)} ${ofHeight(bottom)} ${ofWidth(left)}`;
}

function put(values) {
  const one = crop();
  const wanted = { ...one, ...values };
  if (!inside(wanted, frame)) return false;
  Object.assign(one, values);
  draw();
  return true;
}

// --- hands -------------------------------------------------------------------------------------------------------

let held = null;
box.addEventListener("pointerdown", (event) => {
  if (!crop().ratio) return;
  event.preventDefault();
  box.focus({ preventScroll: true });
  box.setPointerCapture(event.pointerId);
  held = {
    grip: event.target.dataset.grip ?? "",
    x: event.clientX,
    y: event.clientY,
    from: { ...crop() },
    scale: frame.width / canvas.clientWidth,
  };
});
box.addEventListener("pointermove", (event) => {
  if (!held) return;
  const dx = (event.clientX - held.x) * held.scale;
  const dy = (event.clientY - held.y) * held.scale;
  put(held.grip ? resized(held.from, held.grip, dx, dy, frame) : moved(held.from, dx, dy, frame));
});
for (const kind of ["pointerup", "pointercancel"])
  box.addEventListener(kind, () => {
    held = null;
  });

const taps = {
  left: (one, step) => moved(one, -step, 0, frame),
  right: (one, step) => moved(one, step, 0, frame),
  up: (one, step) => moved(one, 0, -step, frame),
  down: (one, step) => moved(one, 0, step, frame),
  smaller: (one, step) => sized(one, one.width - 2 * step, frame),
  larger: (one, step) => sized(one, one.width + 2 * step, frame),
  "tilt-left": (one) => clampTilt(one, one.tilt - 0.5, frame),
  "tilt-right": (one) => clampTilt(one, one.tilt + 0.5, frame),
};
const step = (fine) => Math.max(1, Math.round(frame.width * (fine ? 0.001 : 0.008)));
const tap = (name, fine = false) => crop().ratio && put(taps[name](crop(), step(fine)));

document.querySelector(".pad").addEventListener("click", (event) => {
  const name = event.target.closest("[data-tap]")?.dataset.tap;
  if (name) tap(name);
});
box.addEventListener("keydown", (event) => {
  const name = {
    ArrowLeft: "left",
    ArrowRight: "right",
    ArrowUp: "up",
    ArrowDown: "down",
    "+": "larger",
    "=": "larger",
    "-": "smaller",
    ",": "tilt-left",
    ".": "tilt-right",
  }[event.key];
  if (event.key === "Enter") keep();
  else if (!name) return;
  event.preventDefault();
  if (name) tap(name, event.shiftKey);
});
for (const name of ["x", "y", "width", "tilt"]) {
  $(`#n-${name}`).addEventListener("change", (event) => {
    const value = Number(event.target.value);
    const one = crop();
    if (!Number.isFinite(value) || !one.ratio) return draw();
    if (name === "width") put(sized(one, value, frame));
    else if (name === "tilt") put(clampTilt(one, value, frame));
    else put(fit({ ...one, [name]: Math.round(value) }, frame));
    draw();
    return undefined;
  });
}
$("#shapes").addEventListener("click", (event) => {
  const button = event.target.closest(".shape");
  if (!button) return;
  now = button.dataset.size;
  draw();
  preview();
});

// --- keeping -----------------------------------------------------------------------------------------------------

async function send(body, said) {
  try {
    const answer = await post(crop().address, body);
    for (const one of answer.crops) crops.set(one.size, { ...one, kept: { ...one } });
    draw();
    preview();
    $("#said").textContent = plural(words, said, answer.crops.length);
    return true;
  } catch (error) {
    $("#said").textContent = sentenceOf(error, words);
    return false;
  }
}

function keep() {
  const { x, y, width, height, tilt } = crop();
  return send({ do: "set", x, y, width, height, tilt }, "kept");
}

$("#keep").addEventListener("click", keep);
$("#propose").addEventListener("click", () => send({ do: "propose" }, "kept"));
$("#adopt").addEventListener("click", async () => {
  if (!changed(crop()) || (await keep())) await send({ do: "adopt", sizes: [...crops.keys()] }, "adopted");
});
$("#panel").addEventListener("submit", (event) => event.preventDefault());

async function preview() {
  if (!$("#preview").closest("details").open || !crop()) return;
  $("#preview").src = `${crop().preview}?t=${Date.now()}`;
  $("#paper-part").hidden = !crop().paper;
  if (!crop().paper) return;
  const answer = await reach(crop().paper).catch(() => null);
  if (!answer?.ok) return;
  URL.revokeObjectURL($("#paper").src);
  $("#paper").src = URL.createObjectURL(await answer.blob());
  $("#paper-caution").textContent = decodeURIComponent(answer.headers.get("X-Caution") ?? "");
}
$("#preview").closest("details").addEventListener("toggle", preview);

$("#source").src = data.picture;
$("#source").width = data.width;
$("#source").height = data.height;
canvas.style.aspectRatio = `${data.width} / ${data.height}`;
canvas.style.setProperty("--shape", String(data.width / data.height));
addEventListener("beforeunload", (event) => {
  if ([...crops.values()].some(changed)) event.preventDefault();
});
draw();
