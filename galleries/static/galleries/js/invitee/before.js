// Pages that lie before a sitting, a link's and the agent's desk: without a network the house's words stand there. They
// are told to a worker of their own, for each of the places where it is to stand; it keeps nothing of anybody.
import { inPlace, link, unsent } from "./kept.js";

/** words_worker: the script; before: the places, by the beginning of their addresses; words: what is said. */
export async function before({ words_worker: script, before: places, words }) {
  if (!("serviceWorker" in navigator)) return;
  let waits = places.length;
  navigator.serviceWorker.addEventListener("message", ({ data: { words: kept } }) => {
    if (kept && --waits === 0) document.documentElement.dataset.words = "kept";
  });
  const said = {
    offline: inPlace(words.needs_network, words.opens_again, link("", words.try_again)),
    unsent: unsent(words),
    style: [...document.querySelectorAll("link[href]")].map(({ href }) => new URL(href).pathname),
  };
  for (const scope of places) {
    const there = await navigator.serviceWorker.register(script, { scope }).catch(() => null);
    if (there) (await active(there)).postMessage(said);
  }
}
/** The worker that answers for a place; one that was just begun does so once it is active. */
const active = ({ active: there, waiting, installing }) =>
  there ??
  new Promise((done) => {
    const begun = installing ?? waiting;
    const look = () => begun.state === "activated" && done(begun);
    begun.addEventListener("statechange", look);
    look();
  });
