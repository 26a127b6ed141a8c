// What this device keeps of the sheet for the time without a network: said to the worker, which does the keeping.
import { el } from "../shared/dom.js";

const KEPT = "sheet"; // the worker's store
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
/** When the page is through with its own, so that nothing on the first screen waits for what is kept for later. */
const settled = () =>
  document.readyState === "complete"
    ? Promise.resolve()
    : new Promise((done) => addEventListener("load", done, { once: true }));

/** pictures: addresses of every small picture on the sheet. Without a worker marks on the open page wait too. */
export async function keep(config, words, pictures) {
  if (!("serviceWorker" in navigator)) return;
  if (!config.person) {
    // Somebody of the studio looks: nothing of it stays on this device.
    navigator.serviceWorker.controller?.postMessage({ person: "" });
    return;
  }
  navigator.serviceWorker.addEventListener("message", ({ data: { kept, whole } }) => {
    Object.assign(document.documentElement.dataset, { kept }, whole === undefined ? {} : { whole });
  });
  const active = await worker(config.worker).catch(() => null);
  await settled();
  const seen = loaded(),
    wanted = navigator.connection?.saveData ? pictures.filter((one) => seen.includes(one)) : pictures;
  const said = { person: config.person, page: location.pathname, until: config.until, pages: config.pages };
  active?.postMessage({
    ...said,
    seen: [...new Set([...seen.filter((one) => one.startsWith("/static/")), ...drawings([...document.styleSheets])])],
    pictures: wanted,
    offline: offline(words),
  });
}
export const drop = (pictures) => navigator.serviceWorker?.controller?.postMessage({ gone: pictures });
export const forget = () => globalThis.caches?.delete(KEPT);

/** The page that stands in for one that needs the network, in this page's words and dress. */
function offline(words) {
  const head = el(
    "head",
    {},
    ...[...document.head.children].filter((one) => one.matches("meta, link")).map((one) => one.cloneNode()),
  );
  head.append(el("title", { textContent: words.needs_network }));
  const back = el("a", { href: location.pathname, textContent: words.to_the_sheet });
  const main = el(
    "main",
    {},
    el("h1", { textContent: words.needs_network }),
    el("p", { textContent: words.works_without }),
    el("p", {}, back),
  );
  const page = el(
    "html",
    { lang: document.documentElement.lang, dir: document.documentElement.dir },
    head,
    el("body", {}, main),
  );
  return `<!doctype html>${page.outerHTML}`;
}
