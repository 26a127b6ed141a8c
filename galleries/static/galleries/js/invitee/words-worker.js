// Where a link is opened, and on an agent's desk, what stands without a network is the house's words too. Nothing of
// anybody is kept: the words, and the style that they are dressed in. It sends nothing.
const KEPT = "words",
  STYLE = /^\/static\/[^?]+\.(css|svg)$/;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("message", (event) => event.waitUntil(take(event.data, event.source)));

/** offline, unsent: pages of words, in place of a page and of a form's answer; style: addresses of what they wear. */
async function take({ offline, unsent, style }, client) {
  const cache = await caches.open(KEPT);
  await cache.put("offline", html(offline));
  await cache.put("unsent", html(unsent));
  const wanted = style.filter((address) => STYLE.test(address));
  const kept = await Promise.all(wanted.map((address) => cache.match(address)));
  const missing = wanted.filter((_, i) => !kept[i]);
  await Promise.all(missing.map((address) => cache.add(address).catch(() => {})));
  client?.postMessage({ words: true });
}
const html = (text) => new Response(text, { headers: { "Content-Type": "text/html; charset=utf-8" } });
const kept = async (address) => (await caches.open(KEPT)).match(address);

self.addEventListener("fetch", (event) => {
  const { request } = event,
    address = new URL(request.url);
  if (address.origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(page(request));
  else if (request.method === "GET" && STYLE.test(address.pathname)) event.respondWith(style(request));
});
async function page(request) {
  try {
    return await fetch(request);
  } catch (error) {
    return (await kept(request.method === "POST" ? "unsent" : "offline")) ?? Promise.reject(error);
  }
}
async function style(request) {
  try {
    return await fetch(request);
  } catch (error) {
    return (await kept(request)) ?? Promise.reject(error);
  }
}
