// The page on set asks twice a second whether a frame came (an unchanged answer is 204 and costs half a millisecond),
// stops when nobody looks, and keeps the screen awake where the browser allows it.
import { $, data, el, fill } from "../shared/dom.js";
import { ask, pause, sentenceOf, shut } from "../shared/net.js";
import { Developed } from "./desk-developed.js";
import { eachInItsHalf } from "./eyes-apart.js";

const words = $("#words").dataset;
const address = $("#newest").dataset.address;
const EVERY = 500;
let change = -1;
let shown = null;
let pupils = [];
const developed = new Developed();

const named = (frame) => fill(words.frame, { label: frame.label, look: frame.look || "–" });

// Picture, eyes and caption change in one go, when the picture has come: they are always of the same frame.
function show(frame) {
  if (frame.large === shown) return caption(frame);
  shown = frame.large;
  const coming = new Image();
  coming.addEventListener("load", () => {
    if (shown !== frame.large) return;
    const picture = $("#newest-picture");
    picture.width = coming.naturalWidth;
    picture.height = coming.naturalHeight;
    picture.src = frame.large;
    picture.alt = named(frame);
    picture.dataset.frame = frame.id;
    picture.hidden = false;
    eyes(frame);
    caption(frame);
  });
  coming.addEventListener("error", () => {
    if (shown === frame.large) shown = null; // asked for again with the next news
  });
  coming.src = frame.large;
}

function caption(frame) {
  if ($("#newest-picture").dataset.frame !== String(frame.id)) return;
  $("#newest-label").textContent = named(frame);
  $("#newest-flags").textContent = frame.flags.join(", ");
}

// One pixel of the original on one of the screen's own.
function eyes(frame) {
  const picture = $("#eyes-picture");
  pupils = frame.pupils;
  $("#eyes").hidden = !frame.eyes;
  if (!frame.eyes) return;
  picture.style.visibility = "hidden"; // the eyes of the frame before would lie under this one's name
  picture.removeAttribute("width");
  picture.src = developed.now(frame, frame.eyes);
  picture.dataset.frame = frame.id;
  develop(frame, picture);
}

// A smaller picture stands until the worker has developed the sharp one.
async function develop(frame, picture) {
  const line = $("#eyes-developing");
  line.textContent = developed.waits(frame) ? words.developing : "";
  if (!developed.waits(frame)) return;
  const wanted = () => picture.dataset.frame === String(frame.id);
  const sharp = await developed.when(frame, frame.eyes, wanted).catch(() => null);
  if (!wanted()) return;
  line.textContent = sharp === null ? words.undeveloped : "";
  if (sharp) picture.src = frame.eyes;
}
$("#eyes-picture").addEventListener("load", ({ target }) => {
  $("#eyes-other").src = target.src;
  place();
  target.style.visibility = "";
});
globalThis.addEventListener("resize", place);

function place() {
  const pictures = [$("#eyes-picture"), $("#eyes-other")],
    [{ naturalWidth, naturalHeight }] = pictures,
    fine = globalThis.devicePixelRatio || 1,
    box = $("#eyes > div"),
    halves = eachInItsHalf(
      { width: box.clientWidth, height: box.clientHeight },
      { width: naturalWidth / fine, height: naturalHeight / fine },
      pupils,
    );
  $("#eyes").classList.toggle("apart", halves.length === 2);
  pictures[1].parentElement.hidden = halves.length < 2;
  pictures.forEach((picture, at) => {
    picture.width = Math.round(naturalWidth / fine);
    picture.style.left = picture.style.top = "";
    if (halves.length === 2) [picture.style.left, picture.style.top] = halves[at].map((px) => `${px}px`);
  });
}

function draw(news) {
  change = news.change;
  $("#set-count").textContent = news.count;
  $("#look-now").textContent = news.look || $("#look-now").dataset.none;
  const [first] = news.frames;
  if (!first) return;
  $("#waiting").hidden = true;
  // The frame before stays in view, under its own name, until the new one's proof is there.
  const ready = news.frames.find((frame) => frame.large);
  $("#coming").textContent = first === ready ? "" : fill(words.making, { label: first.label });
  if (ready) show(ready);
  $("#latest").replaceChildren(
    ...news.frames
      .filter((frame) => frame.small && frame !== ready)
      .map((frame) =>
        el(
          "li",
          {},
          el("img", { src: frame.small, width: frame.w, height: frame.h, alt: named(frame) }),
          el("span", { className: "typed", textContent: frame.label }),
        ),
      ),
  );
}

async function listen() {
  for (;;) {
    await pause(EVERY);
    if (document.hidden) continue;
    try {
      const news = await ask(`${address}?since=${change}`);
      $("#set-line").textContent = "";
      if (news) draw(news);
    } catch (error) {
      $("#set-line").textContent = sentenceOf(error, { ...words, failed: words.offline });
      if (shut(error)) return;
      await pause(1500);
    }
  }
}

draw(data("now"));
navigator.wakeLock?.request("screen").catch(() => {});
listen();
