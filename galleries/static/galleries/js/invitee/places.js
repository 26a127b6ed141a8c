// A picture that could not be had leaves its place as it was, with words in place of the browser's broken sign. Once
// there is a network again it is asked for anew.
import { el } from "../shared/dom.js";

const TRIES = 5; // a network is told of before it carries anything; each wait is twice the last

/** words: why there is no picture, without a network (`picture_waits`) and with one (`picture_failed`).
    root: where pictures are; online(): is there a network? wait: ms before it is asked for anew where that failed. */
export function holdPlaces(words, { root = document, online = () => navigator.onLine, wait = 1000 } = {}) {
  const places = new Map(); // by picture: what stands in its place
  const why = () => (online() ? words.picture_failed : words.picture_waits);
  const settle = (picture) => {
    if (!places.has(picture)) return;
    places.get(picture).remove();
    places.delete(picture);
    picture.hidden = false;
  };
  let tries = 0,
    timer = 0;
  const hold = (picture) => {
    if (places.has(picture)) return later();
    const place = el("span", { className: "no-picture" }, el("span", { textContent: why() }));
    const [width, height] = [picture.getAttribute("width"), picture.getAttribute("height")];
    if (width && height) place.style.aspectRatio = `${width} / ${height}`;
    places.set(picture, place);
    picture.after(place);
    picture.hidden = true;
  };
  const later = () => {
    if (timer || !tries) return;
    timer = setTimeout(again, wait * 2 ** (TRIES - tries));
    tries -= 1;
  };
  const again = () => {
    clearTimeout(timer);
    timer = 0;
    for (const picture of places.keys()) {
      picture.loading = "eager"; // one that is not shown would never be asked for
      picture.src = picture.getAttribute("src");
    }
  };
  // Those that are laid out side by side have words of their own.
  root.addEventListener("error", ({ target }) => target.matches("img:not(.stage img)") && hold(target), true);
  root.addEventListener("load", ({ target }) => settle(target), true);
  for (const picture of root.querySelectorAll("img[src]:not(.stage img)"))
    if (picture.complete && !picture.naturalWidth) hold(picture); // it failed before this script ran
  const afresh = () => {
    tries = TRIES;
    again();
  };
  addEventListener("online", afresh);
  document.addEventListener("visibilitychange", () => document.hidden || afresh());
}
