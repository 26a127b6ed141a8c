// Opens the sheet again without a network: sheet and plan as last seen, scripts and styles, every small picture of the
// sheet. In place of any other page, and of a form's answer, the house's words. It sends nothing; marks wait in the
// page's own outbox. Everything goes when the person changes, when the
// server says that the door is shut, and when the invite's time is over.
const KEPT = "sheet",
  AT_ONCE = 4;
const SMALL = /^\/files\/proof\/\d+\/small\//,
  REFERENCE = /^\/s\/[^/]+\/plan\/picture\//,
  PAGE = /^\/s\/[^/]+\/(sheet|plan)$/,
  WAY_IN = /^\/s\/[^/]+\/$/,
  PAGES =
    "|plan|sheet|compare|as-casting|lists|object|kept-back|pass-on|finals|final/\\d+|delivery|opinions|retouch" +
    "|about-me|statement",
  OURS = new RegExp(`^/s/[^/]+/(${PAGES})$`);
const SHUT = [401, 403, 404, 410];

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(take(event.data, event.source)));

const forget = () => caches.delete(KEPT);
const note = (page, what) => `${page}-${what}`;
// Whoever looks at a picture that has not come has the line to themselves: what is kept for later is called off, and
// asked for again once nobody looks.
const looking = new Set(); // clients
let stop = new AbortController(),
  freed = nobody(),
  keeping = null; // what is being kept for the sheet, to its end
function nobody() {
  let go;
  const promise = new Promise((done) => {
    go = done;
  });
  return { promise, go };
}
function looks(client, on) {
  if (on) {
    looking.add(client);
    stop.abort();
    stop = new AbortController();
    return;
  }
  looking.delete(client);
  if (looking.size) return;
  freed.go();
  freed = nobody();
}
/** Until nobody looks. A page that is gone tells of nothing: it is looked for. */
async function line() {
  while (looking.size) {
    await Promise.race([freed.promise, new Promise((done) => setTimeout(done, 1000))]);
    for (const one of looking) if (!(await self.clients.get(one))) looking.delete(one);
  }
}
/** Keep an address unless it is kept already; a page is asked for anew, and what it shows is kept with it. */
async function keep(cache, address) {
  if (await cache.match(address)) return;
  for (let called = true; called; ) {
    await line();
    const { signal } = stop;
    await cache.add(new Request(address, { credentials: "same-origin", priority: "low", signal })).catch(() => {});
    called = signal.aborted && !(await cache.match(address));
  }
}
async function all(cache, addresses) {
  const left = [...addresses];
  await Promise.all(
    Array.from({ length: AT_ONCE }, async () => {
      while (left.length) await keep(cache, left.shift());
    }),
  );
}
async function keepPage(cache, address) {
  await line();
  const answer = await fetch(address, { credentials: "same-origin" }).catch(() => null);
  if (!answer?.ok || answer.redirected) return;
  await cache.put(address, answer.clone());
  const shown = (await answer.text()).matchAll(/(?:href|src)="([^"]+)"/g);
  const parts = [...shown].map(([, one]) => one).filter((one) => one.startsWith("/static/") || REFERENCE.test(one));
  await all(cache, new Set(parts));
}
/**
 * A page says for whom it is, until when (ISO), which pages open without a network, what it has loaded before this
 * script watched, and the words in place of what needs the network; the sheet also every small picture it shows.
 * page: the sheet's address. `gone`: pictures to drop. `looking`: somebody waits for a picture, or no more;
 * back: the addresses that the page has called off for it.
 */
async function take(said, client) {
  const { person, page, until, pages, seen, pictures, offline, unsent, gone } = said;
  if ("looking" in said) {
    looks(client.id, said.looking);
    callBack(client.id, said.back ?? []);
    if (!said.looking && !said.whole) await goOn(said, client);
    return;
  }
  if (gone) {
    const cache = await caches.open(KEPT);
    await Promise.all(gone.map((address) => cache.delete(address)));
    return;
  }
  const before = await (await caches.match(note(page, "is-for")))?.text();
  if (!person || (before !== undefined && before !== person)) await forget();
  if (!person) return;
  const cache = await caches.open(KEPT);
  await cache.put(note(page, "is-for"), new Response(person));
  await cache.put(note(page, "until"), new Response(until));
  await cache.put(note(page, "unsent"), html(unsent));
  // The sheet's words name what opens without a network: they stay while it does.
  if (pictures || !(await cache.match(page))) await cache.put(note(page, "words"), html(offline));
  if (pictures) await letGo(cache, page, pictures);
  const kept = (async () => {
    await all(cache, pictures ? [page, ...seen] : seen);
    client?.postMessage({ kept: seen.length });
    for (const address of pages) await keepPage(cache, address);
    if (!pictures) return;
    await all(cache, new Set(pictures));
    client?.postMessage({ kept: seen.length, whole: new Set(pictures).size });
  })();
  if (pictures) keeping = kept;
  await kept;
}
/** A browser ends a worker whose work takes minutes: what is being kept has as many again after each look, and where
    a worker was ended over it, this one goes on. */
async function goOn({ person, page }, client) {
  if (keeping) return keeping;
  const [who, named] = await Promise.all(["is-for", "pictures"].map((what) => caches.match(note(page, what))));
  if (!named || (await who?.text()) !== person) return;
  const [cache, pictures] = [await caches.open(KEPT), await named.json()];
  keeping = all(cache, new Set(pictures));
  await keeping;
  client?.postMessage({ kept: 0, whole: new Set(pictures).size });
}
const html = (text) => new Response(text, { headers: { "Content-Type": "text/html; charset=utf-8" } });
/** What the sheet showed before and does not show now. */
async function letGo(cache, page, pictures) {
  const last = JSON.parse((await (await cache.match(note(page, "pictures")))?.text()) ?? "[]");
  const now = new Set(pictures);
  await Promise.all(last.filter((one) => !now.has(one)).map((one) => cache.delete(one)));
  await cache.put(note(page, "pictures"), new Response(JSON.stringify(pictures)));
}

self.addEventListener("fetch", (event) => {
  const { request } = event,
    address = new URL(request.url);
  if (address.origin !== location.origin) return;
  if (isForm(request)) event.respondWith(form(request, address.pathname));
  if (request.method !== "GET") return;
  if (request.mode === "navigate" && OURS.test(address.pathname)) event.respondWith(page(request, address.pathname));
  else if (address.pathname.startsWith("/static/")) event.respondWith(part(request));
  else if (SMALL.test(address.pathname) || REFERENCE.test(address.pathname))
    event.respondWith(picture(request, event.clientId, address.pathname));
});
/** What was kept of an address, while the invite that it was kept under holds; after that nothing is kept. */
async function kept(path, sheet) {
  const until = await (await caches.match(note(sheet, "until")))?.text();
  if (until === undefined) return undefined;
  if (Date.now() < Date.parse(until)) return caches.match(path);
  await forget();
  return undefined;
}
const sheetOf = (path) => `${path.split("/").slice(0, 3).join("/")}/sheet`;
/** A form that leads to a page; files go past this script, whose hands a large one would fill. */
const isForm = ({ method, mode, headers }) =>
  method === "POST" &&
  mode === "navigate" &&
  (headers.get("Content-Type") ?? "").startsWith("application/x-www-form-urlencoded");
async function form(request, path) {
  const sheet = sheetOf(path);
  try {
    return await fetch(request);
  } catch (error) {
    return (await kept(note(sheet, "unsent"), sheet)) || Promise.reject(error);
  }
}
async function page(request, path) {
  const sheet = sheetOf(path);
  try {
    const answer = await fetch(request);
    // A page that leads away from the sitting is a door that is shut, too; a redirect is not followed here.
    if (SHUT.includes(answer.status)) await forget();
    else if (answer.ok && !answer.redirected && PAGE.test(path))
      await (await caches.open(KEPT)).put(path, answer.clone());
    return answer;
  } catch (error) {
    if (WAY_IN.test(path) && (await kept(sheet, sheet))) return Response.redirect(sheet);
    const found = PAGE.test(path) && (await kept(path, sheet));
    return found || (await kept(note(sheet, "words"), sheet)) || Promise.reject(error);
  }
}
async function part(request) {
  // A name that carries its content's hash never changes; any other is asked for first.
  const found = /\.[0-9a-f]{12}\./.test(request.url) && (await caches.match(request));
  if (found) return found;
  try {
    const answer = await fetch(request);
    if (answer.ok) await (await caches.open(KEPT)).put(request, answer.clone());
    return answer;
  } catch (error) {
    return (await caches.match(request)) ?? Promise.reject(error);
  }
}
// Pictures that pass by on their way to a page, by it and their address: what a page calls off, a worker goes on with.
const passing = new Map(),
  MOST = 200; // more are not on their way at once
const passage = (client, path) => `${client} ${path}`;
function callBack(client, paths) {
  for (const path of paths) {
    passing.get(passage(client, path))?.abort();
    passing.delete(passage(client, path));
  }
}
/** Only what a page named is kept (`take`): a picture that passes by is not. */
async function picture(request, client, path) {
  const found = await caches.match(request);
  if (found) return found;
  const called = new AbortController();
  passing.set(passage(client, path), called);
  if (passing.size > MOST) passing.delete(passing.keys().next().value); // the oldest: it has come long since
  return fetch(request, { signal: called.signal });
}
