// The first row of pictures before the sheet's scripts: on a thin line they share it with all that is fetched, and on a
// slow phone the scripts would run before anything is drawn. They come once the row is on the glass, or with the first
// sign of a hand. A mark that is pressed before they run waits for them, and is never lost.
const PATIENCE = 2000; // ms that a row may take
const SIGNS = ["pointerdown", "keydown", "scroll"];

const pictures = [...document.querySelectorAll("img[fetchpriority=high]")];
const come = (picture) =>
  picture.complete ||
  new Promise((done) => {
    for (const end of ["load", "error"]) picture.addEventListener(end, done, { once: true });
  });
const hand = new Promise((done) => {
  for (const sign of SIGNS) addEventListener(sign, done, { once: true, passive: true });
});
const patience = new Promise((done) => setTimeout(done, PATIENCE));
const onGlass = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));

let pressed = null;
const hold = (event) => {
  if (!event.submitter?.matches("button.m")) return;
  event.preventDefault();
  pressed = event.submitter;
};
document.addEventListener("submit", hold, { capture: true });

const all = Promise.all(pictures.map(come)).then(onGlass);
await Promise.race([all, hand, patience]);
try {
  await import("./sheet.js");
} finally {
  document.removeEventListener("submit", hold, { capture: true });
  pressed?.click();
}
