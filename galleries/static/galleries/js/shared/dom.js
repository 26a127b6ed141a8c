// Small helpers that every page's script uses.
export const $ = (selector, root = document) => root.querySelector(selector);
export const $$ = (selector, root = document) => [...root.querySelectorAll(selector)];
export const data = (id) => JSON.parse(document.getElementById(id).textContent);
/** Fill the {braces} of a sentence: nothing for a value that is empty, the name itself for one that nobody gave. */
export const fill = (sentence, values = {}) =>
  sentence.replace(/\{(\w+)\}/g, (all, name) => (Object.hasOwn(values, name) ? (values[name] ?? "") : all));
/** As `fill`, of a sentence that counts something: the words for one (`NAME_one`) where there are any and n is one. */
export const plural = (words, name, n, values = {}) =>
  fill((n === 1 && words[`${name}_one`]) || words[name], { n, ...values });
/** A number as the page's language writes it, with at most so many digits after its point, and `least` of them. */
export const number = (value, most, least = most) =>
  value.toLocaleString(document.documentElement.lang || "en", {
    maximumFractionDigits: most,
    minimumFractionDigits: least,
  });
export function el(name, properties = {}, ...children) {
  const made = Object.assign(document.createElement(name), properties);
  made.append(...children);
  return made;
}
export const reveal = () =>
  $$("[data-needs-script]").forEach((one) => {
    one.hidden = false;
  });
let fading = 0;
/** Say something, to be seen and to be heard; twice the same is said twice. Where it stands in the way it passes. */
export function say(text) {
  const place = document.getElementById("said");
  if (!place) return;
  clearTimeout(fading);
  place.textContent = "";
  setTimeout(() => {
    place.textContent = text;
    if (place.classList.contains("just-said")) makeRoom(place);
  }, 30);
  if (place.hasAttribute("data-passing")) fading = setTimeout(() => place.replaceChildren(), 8000);
}
const CONTROLS = "a[href], button, input, select, textarea, summary, label, .tray > *";
/** What passes over a page lies on no control, nor on what is said by the tray: from the lower edge up, the first place
    where there is none. A control as high as a quarter of the window is a picture that one presses: of that a strip may
    be covered. */
function makeRoom(place) {
  place.style.bottom = "";
  const box = place.getBoundingClientRect();
  const controls = $$(CONTROLS)
    .filter((one) => one.checkVisibility({ visibilityProperty: true }))
    .map((one) => one.getBoundingClientRect())
    .filter((one) => one.height < innerHeight / 4 && one.left < box.right && one.right > box.left);
  for (let up = 0; up < box.top; up += 8) {
    if (controls.some((one) => one.bottom > box.top - up && one.top < box.bottom - up)) continue;
    if (up) place.style.bottom = `${innerHeight - box.bottom + up}px`;
    return;
  }
}
