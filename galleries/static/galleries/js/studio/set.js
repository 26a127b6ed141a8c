// The page on set asks twice a second whether a frame came (an unchanged answer is 204 and costs half a millisecond),
// stops when nobody looks, and keeps the screen awake where the browser allows it.
import { ask, fill } from "./net.js";

const $ = (id) => document.getElementById(id);
const words = $("words").dataset;
const address = $("newest").dataset.address;
const EVERY = 500;
let change = -1;
let shown = null;

function draw(data) {
  change = data.change;
  $("set-count").textContent = data.count;
  $("look-now").textContent = data.look || $("look-now").dataset.none;
  const [first, ...rest] = data.frames;
  if (!first) return;
  const picture = $("newest-picture");
  $("newest-label").textContent = fill(words.frame, { label: first.label, look: first.look || "–" });
  $("newest-flags").textContent = first.large ? first.flags.join(", ") : words.making;
  // The frame before stays in view until the new one's proof is there.
  const ready = data.frames.find((frame) => frame.large);
  if (ready && ready.large !== shown) {
    shown = ready.large;
    picture.hidden = false;
    picture.width = ready.w;
    picture.height = ready.h;
    picture.src = ready.large;
    picture.alt = fill(words.frame, { label: ready.label, look: ready.look || "–" });
    picture.dataset.frame = ready.id;
  }
  $("latest").replaceChildren(
    ...rest
      .filter((frame) => frame.small)
      .map((frame) => {
        const item = document.createElement("li");
        const small = document.createElement("img");
        small.src = frame.small;
        small.width = frame.w;
        small.height = frame.h;
        small.alt = fill(words.frame, { label: frame.label, look: frame.look || "–" });
        const label = document.createElement("span");
        label.className = "typed";
        label.textContent = frame.label;
        item.append(small, label);
        return item;
      }),
  );
}

async function listen() {
  for (;;) {
    await new Promise((go) => setTimeout(go, EVERY));
    if (document.hidden) continue;
    try {
      const data = await ask(`${address}?since=${change}`, { accept204: true });
      $("set-line").textContent = "";
      if (data) draw(data);
    } catch {
      $("set-line").textContent = words.offline;
      await new Promise((go) => setTimeout(go, 1500));
    }
  }
}

draw(JSON.parse($("now").textContent));
navigator.wakeLock?.request("screen").catch(() => {});
listen();
