// The sheet's small pictures on a phone (sheet.css holds them back there): a browser left alone fetches two
// screens more of them than anybody sees. A script by itself, so that it is there before the sheet's many parts are.

/**
 * Let each picture come when its cell is on the screen, and from the first sign of a hand a screen before that.
 * cells: elements with an `img` each.
 */
export function fetchNear(cells) {
  const waiting = new Set(cells);
  const watch = (margin) => {
    const observer = new IntersectionObserver(
      (entries) => {
        for (const { isIntersecting, target } of entries) {
          if (!isIntersecting) continue;
          observer.unobserve(target);
          waiting.delete(target);
          target.querySelector("img").dataset.near = "";
        }
      },
      { rootMargin: margin },
    );
    for (const cell of waiting) observer.observe(cell);
    return observer;
  };
  const still = watch("0px");
  const hand = new AbortController();
  for (const sign of ["scroll", "pointerdown", "keydown"])
    addEventListener(
      sign,
      () => {
        hand.abort();
        still.disconnect();
        watch("100% 0px");
      },
      { passive: true, signal: hand.signal },
    );
}

fetchNear(document.querySelectorAll('.film .open:has(> img[loading="lazy"])'));
