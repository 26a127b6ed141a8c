// Opens the sheet again without a network: the page as last seen, scripts and styles, and the thumbnails that were
// looked at. It sends nothing; marks wait in the page's own outbox. Everything goes when the person changes.
const KEPT = "sheet",
  MOST_PICTURES = 1500;
const SMALL = /^\/files\/proof\/\d+\/small\//;
let pictures = -1;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(take(event.data, event.source)));

/** A page says for whom it is, and what it has loaded before this script watched. */
async function take({ person, page, seen }, client) {
  const note = new Request(`${page}-is-for`);
  const before = await (await caches.match(note))?.text();
  if (before !== undefined && before !== person) {
    await caches.delete(KEPT);
    pictures = -1;
  }
  const cache = await caches.open(KEPT);
  await cache.put(note, new Response(person));
  for (const address of [page, ...seen]) {
    if (!(await cache.match(address)))
      await cache.add(new Request(address, { credentials: "same-origin" })).catch(() => {});
  }
  client?.postMessage({ kept: seen.length });
}

self.addEventListener("fetch", (event) => {
  const { request } = event,
    address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate" && address.pathname.endsWith("/sheet"))
    event.respondWith(page(request, address.pathname));
  else if (address.pathname.startsWith("/static/")) event.respondWith(part(request));
  else if (SMALL.test(address.pathname)) event.respondWith(picture(request));
});
async function page(request, path) {
  try {
    const answer = await fetch(request);
    const cache = await caches.open(KEPT);
    if (answer.ok && !answer.redirected) await cache.put(path, answer.clone());
    else if ([403, 404].includes(answer.status)) {
      await caches.delete(KEPT);
      pictures = -1;
    } // not theirs any more
    return answer;
  } catch (error) {
    return (await caches.match(path)) ?? Promise.reject(error);
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
async function picture(request) {
  const found = await caches.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.status === 200) {
    const cache = await caches.open(KEPT);
    if (pictures < 0) pictures = (await cache.keys()).filter((key) => SMALL.test(new URL(key.url).pathname)).length;
    if (pictures++ < MOST_PICTURES) await cache.put(request, answer.clone());
  }
  return answer;
}
