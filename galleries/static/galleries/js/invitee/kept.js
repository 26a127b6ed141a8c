// What this device keeps of the sheet for the time without a network: said to the worker, which does the keeping.
import { el } from "../shared/dom.js";
import { settled } from "../shared/later.js";

const KEPT = "sheet"; // the worker's store
let looks = false; // does somebody wait for a picture?
const worker = async (address) => {
  await navigator.serviceWorker.register(address, { scope: "/s/" });
  return (await navigator.serviceWorker.ready).active;
};
const loaded = () =>
  performance
    .getEntriesByType("resource")
    .map(({ name }) => new URL(name))
    .filter(({ origin }) => origin === location.origin)
    .map(({ pathname }) => pathname);
/** Drawings that style sheets name (`url(…)`), by their addresses on this site: a browser fetches each when it is first
    drawn, which may be when there is no network. sheets: of the page. */
export function drawings(sheets) {
  const named = sheets
    .filter(({ href }) => href && new URL(href).origin === location.origin)
    .flatMap(({ href, cssRules }) =>
      [...cssRules].flatMap(({ cssText }) =>
        [...cssText.matchAll(/url\("?([^")]+)"?\)/g)].map(([, one]) => new URL(one, href)),
      ),
    );
  return [...new Set(named.filter(({ origin }) => origin === location.origin).map(({ pathname }) => pathname))];
}
/** What is this page's own of what it has loaded, and of what its style sheets may yet draw. */
const parts = () => [
  ...new Set([...loaded().filter((one) => one.startsWith("/static/")), ...drawings([...document.styleSheets])]),
];
/** Tells the worker whose device this is, and for a person what it is to keep. asks(): what, when the page is through
    with its own. Without a worker marks on the open page wait too. */
export async function tell({ person, sheet, until, worker: address }, asks) {
  if (!("serviceWorker" in navigator)) return;
  if (!person) {
    // Somebody of the studio looks: nothing of it stays on this device.
    navigator.serviceWorker.controller?.postMessage({ person: "" });
    return;
  }
  navigator.serviceWorker.addEventListener("message", ({ data: { kept, whole } }) => {
    if (kept === undefined) return; // from a worker that keeps words alone
    Object.assign(document.documentElement.dataset, { kept }, whole === undefined ? {} : { whole });
  });
  const active = await worker(address).catch(() => null);
  await settled();
  if (looks) active?.postMessage({ looking: true });
  active?.postMessage({ person, page: sheet, until, seen: parts(), ...asks() });
}
/** The sheet's. pictures: addresses of every small picture on it. */
export const keep = (config, words, pictures) =>
  tell(config, () => {
    const seen = loaded();
    return {
      pages: [config.plan],
      pictures: navigator.connection?.saveData ? pictures.filter((one) => seen.includes(one)) : pictures,
      offline: inPlace(words.needs_network, words.works_without, link(location.pathname, words.to_the_sheet)),
      unsent: unsent(words),
    };
  });
/** Somebody waits for a picture, or no more: meanwhile the worker asks for nothing that it keeps for later.
    back: addresses that this page has called off. */
export function looking(on, { person, sheet }, back = []) {
  if (on === looks) return;
  looks = on;
  const whole = "whole" in document.documentElement.dataset;
  navigator.serviceWorker?.controller?.postMessage({ looking: on, person, page: sheet, whole, back });
}
export const drop = (pictures) => navigator.serviceWorker?.controller?.postMessage({ gone: pictures });
export const forget = () => globalThis.caches?.delete(KEPT);

export const link = (href, textContent) => el("a", { href, textContent });
export const unsent = (words) => inPlace(words.not_sent, words.send_again);
/** A page in place of one that needs the network, in this page's dress. */
export function inPlace(title, text, way = "") {
  const head = el(
    "head",
    {},
    ...[...document.head.children]
      .filter((one) => one.matches("meta, link[rel=stylesheet], link[rel=icon]"))
      .map((one) => one.cloneNode()),
  );
  head.append(el("title", { textContent: title }));
  const main = el(
    "main",
    { className: "narrow" },
    el("h1", { textContent: title }),
    el("p", { textContent: text }),
    el("p", {}, way),
  );
  const page = el(
    "html",
    { lang: document.documentElement.lang, dir: document.documentElement.dir },
    head,
    el("body", {}, main),
  );
  return `<!doctype html>${page.outerHTML}`;
}

/**
 * Without a network a form stays on its page, with all that was typed or chosen in it, and says so where it was
 * pressed: led away from, it would be empty on the way back. Where the browser does not know, the workers answer.
 * sentence: what is said, until there is a network. root: where forms are; online(): is there one?
 */
export function stay(sentence, { root = document, online = () => navigator.onLine } = {}) {
  const told = el("p", { className: "problem", role: "alert" });
  root.addEventListener("submit", (event) => {
    if (online() || event.defaultPrevented) return;
    event.preventDefault();
    told.remove();
    (event.submitter ?? event.target.lastElementChild).after(told);
    told.textContent = sentence;
  });
  addEventListener("online", () => told.remove());
}
