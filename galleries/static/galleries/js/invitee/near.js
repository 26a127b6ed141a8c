// The sheet's small pictures on a phone (sheet.css holds them back there): a browser left alone fetches two
// screens more of them than anybody sees. Those of the first screen are not held back.

import { GivingWay } from "./giving-way.js";

const near = (picture) => {
  picture.dataset.near = "";
};

/**
 * Let each picture come when its cell is on the screen, and from the first sign of a hand a screen before that.
 * cells: elements with an `img` each. Only those of a film (their parent) that is near are watched: the browser looks
 * at every one that is, at each frame it draws, and a thousand cost a phone half of that frame's time.
 * ask(img): lets one come. Returns what is called with more of them.
 */
export function fetchNear(cells, ask = near) {
  const films = new Map();
  const watch = (rootMargin) => {
    const near = new Set();
    const onCells = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries) {
          if (!isIntersecting) continue;
          onCells.unobserve(target);
          ask(target.querySelector("img"));
        }
      },
      { rootMargin },
    );
    const onFilms = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries) {
          isIntersecting ? near.add(target) : near.delete(target);
          for (const cell of films.get(target))
            if (!isIntersecting) onCells.unobserve(cell);
            else if (!("near" in cell.querySelector("img").dataset)) onCells.observe(cell);
        }
      },
      { rootMargin },
    );
    for (const film of films.keys()) onFilms.observe(film);
    return { near, onCells, onFilms };
  };
  let watching = watch("0px");
  const add = (more) => {
    for (const cell of more) {
      const film = cell.parentElement;
      if (!films.has(film)) watching.onFilms.observe(film);
      films
        .set(film, films.get(film) ?? [])
        .get(film)
        .push(cell);
      if (watching.near.has(film)) watching.onCells.observe(cell);
    }
  };
  add(cells);
  const hand = new AbortController();
  for (const sign of ["scroll", "pointerdown", "keydown"])
    addEventListener(
      sign,
      () => {
        hand.abort();
        watching.onCells.disconnect();
        watching.onFilms.disconnect();
        watching = watch("100% 0px");
      },
      { passive: true, signal: hand.signal },
    );
  return add;
}

export const small = new GivingWay(near, document.querySelectorAll(".film > .frame img:not([loading='lazy'])"));
/** For cells of the sheet that are made later. */
export const fetchToo = fetchNear(document.querySelectorAll(".film > .frame:has(img[loading='lazy'])"), (picture) =>
  small.ask(picture),
);
document.documentElement.dataset.watched = ""; // from here on no picture comes by the clock (sheet.css)
