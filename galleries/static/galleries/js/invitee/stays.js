// Without a network a form stays on its page, with all that was typed or chosen in it, and says so where it was
// pressed: led away from, it would be empty on the way back. Where the browser does not know, the workers answer.
import { el } from "../shared/dom.js";

/** sentence: what is said, until there is a network. root: where forms are; online(): is there one? */
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
