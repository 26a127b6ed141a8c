// The page on set asks twice a second whether a frame came (an unchanged answer is 204 and costs half a millisecond),
// stops when nobody looks, and keeps the screen awake where the browser allows it.
import { $, data, el, fill } from "../shared/dom.js";
import { ask, pause, sentenceOf, shut } from "../shared/net.js";

const words = $("#words").dataset;
const address = $("#newest").dataset.address;
const EVERY = 500;
let change = -1;
let shown = null;

function draw(news) {
  change = news.change;
  $("#set-count").textContent = news.count;
  $("#look-now").textContent = news.look || $("#look-now").dataset.none;
  const [first, ...rest] = news.frames;
  if (!first) return;
  const picture = $("#newest-picture");
  $("#newest-label").textContent = fill(words.frame, { label: first.label, look: first.look || "–" });
  $("#newest-flags").textContent = first.large ? first.flags.join(", ") : words.making;
  // The frame before stays in view until the new one's proof is there.
  const ready = news.frames.find((frame) => frame.large);
  if (ready && ready.large !== shown) {
    shown = ready.large;
    picture.hidden = false;
    picture.width = ready.w;
    picture.height = ready.h;
    picture.src = ready.large;
    picture.alt = fill(words.frame, { label: ready.label, look: ready.look || "–" });
    picture.dataset.frame = ready.id;
  }
  $("#latest").replaceChildren(
    ...rest
      .filter((frame) => frame.small)
      .map((frame) => {
        const alt = fill(words.frame, { label: frame.label, look: frame.look || "–" });
        return el(
          "li",
          {},
          el("img", { src: frame.small, width: frame.w, height: frame.h, alt }),
          el("span", { className: "typed", textContent: frame.label }),
        );
      }),
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
