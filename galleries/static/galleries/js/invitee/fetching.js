// A link that downloads shows nothing of a refusal: the page stands open, the press seems dead. So it is asked first
// whether the file can be had; if not, the sentence why stands where it was pressed, and what was typed stays.
import { $$, el } from "../shared/dom.js";
import { reach } from "../shared/net.js";

/** Why a file cannot be fetched now: the server's sentence, or of `words`; "" where it can. Nothing of it is read. */
export async function refusal(address, words) {
  try {
    const asked = await reach(address, { method: "HEAD" });
    if (asked.ok && !asked.redirected) return "";
    const stop = new AbortController();
    const answer = await reach(address, { headers: { Accept: "application/json" }, signal: stop.signal });
    if (answer.ok && !answer.redirected) {
      stop.abort(); // offered again meanwhile
      return "";
    }
    return (await answer.json().catch(() => null))?.error ?? words.fetch_failed;
  } catch {
    return words.fetch_waits;
  }
}
/** Says beside `pressed` why it cannot be had, and how to see what is there now. */
export function refuse(pressed, why, words) {
  for (const earlier of $$(".not-fetched")) earlier.remove();
  const anew = el("a", { href: location.pathname + location.search, textContent: words.as_it_is_now });
  pressed.after(el("span", { className: "problem not-fetched", role: "alert" }, `${why} `, anew));
}
/** words: of this page. root: where the links are; follow(): goes where a link leads. */
export function askFirst(words, { root = document, follow = (link) => link.click() } = {}) {
  const asking = new Set(),
    allowed = new Set();
  root.addEventListener("click", async (event) => {
    const link = event.target.closest("a[download]");
    if (!link || event.defaultPrevented || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    if (allowed.delete(link)) return; // it is followed now
    event.preventDefault();
    if (asking.has(link)) return;
    asking.add(link);
    const why = await refusal(link.href, words);
    asking.delete(link);
    if (why) return refuse(link, why, words);
    for (const earlier of $$(".not-fetched")) earlier.remove();
    allowed.add(link);
    follow(link);
  });
}
