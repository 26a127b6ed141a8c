import { stay } from "/static/galleries/js/invitee/kept.js";
import { holds, same } from "./checks.js";

const SENTENCE = "There is no network.";
/** A form with something typed, and what becomes of a press. */
function form({ online, handled = false }) {
  const root = document.createElement("div");
  root.innerHTML = "<form method='dialog'><input name='who' value='Ida'><button>Send</button><i></i></form>";
  document.body.replaceChildren(root);
  const [one] = root.children;
  if (handled) one.addEventListener("submit", (event) => event.preventDefault());
  stay(SENTENCE, { root, online });
  let sent;
  root.addEventListener("submit", (event) => {
    sent = !event.defaultPrevented;
    event.preventDefault();
  });
  const press = () => root.querySelector("button").click();
  return { root, press, sent: () => sent, told: () => root.querySelector("[role=alert]")?.textContent ?? "" };
}

export default {
  "without a network a form stays as it is, and says so beside what was pressed": () => {
    const { root, press, sent, told } = form({ online: () => false });
    press();
    holds(!sent(), "it was not sent");
    same(told(), SENTENCE);
    holds(root.querySelector("button").nextElementSibling.matches("[role=alert]"), "it stands beside the button");
    same(root.querySelector("input").value, "Ida");
    press();
    same(root.querySelectorAll("[role=alert]").length, 1);
    dispatchEvent(new Event("online"));
    same(told(), "");
  },
  "with a network it is sent, and what a page's own script takes is left to it": () => {
    const plain = form({ online: () => true });
    plain.press();
    holds(plain.sent(), "it was sent");
    const taken = form({ online: () => false, handled: true });
    taken.press();
    same(taken.told(), "");
  },
};
