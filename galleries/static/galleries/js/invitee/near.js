// The sheet's small pictures on a phone (sheet.css holds them back there): a browser left alone fetches two
// screens more of them than anybody sees. A script by itself, so that it is there before the sheet's many parts are.

/**
 * Let each picture come when its cell is on the screen, and from the first sign of a hand a screen before that.
 * cells: elements with an `img` each. Only those of a film (their parent) that is near are watched: the browser looks
 * at every one that is, at each frame it draws, and a thousand cost a phone half of that frame's time.
 */
export function fetchNear(cells) {
  const films = new Map();
  for (const cell of cells) films.set(cell.parentElement, [...(films.get(cell.parentElement) ?? []), cell]);
  const watch = (rootMargin) => {
    const onCells = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries) {
          if (!isIntersecting) continue;
          onCells.unobserve(target);
          target.querySelector("img").dataset.near = "";
        }
      },
      { rootMargin },
    );
    const onFilms = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries)
          for (const cell of films.get(target))
            if (!isIntersecting) onCells.unobserve(cell);
            else if (!("near" in cell.querySelector("img").dataset)) onCells.observe(cell);
      },
      { rootMargin },
    );
    for (const film of films.keys()) onFilms.observe(film);
    return [onCells, onFilms];
  };
  const still = watch("0px");
  const hand = new AbortController();
  for (const sign of ["scroll", "pointerdown", "keydown"])
    addEventListener(
      sign,
      () => {
        hand.abort();
        for (const one of still) one.disconnect();
        watch("100% 0px");
      },
      { passive: true, signal: hand.signal },
    );
}

fetchNear(document.querySelectorAll(".film > .frame:has(img[loading='lazy'])"));
