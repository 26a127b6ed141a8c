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
  }, 30);
  if (place.hasAttribute("data-passing")) fading = setTimeout(() => place.replaceChildren(), 8000);
}
