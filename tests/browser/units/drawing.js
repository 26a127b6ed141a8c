import { draw, foresee, forgo } from "/static/galleries/js/invitee/drawing.js";
import { same, until } from "./checks.js";

/** A frame of the sheet with its three buttons. */
function frame() {
  const item = document.createElement("li");
  const buttons = ["pick", "alternate", "strike"].map(
    (kind) => `<button class="m ${kind}" value="7:${kind}"></button>`,
  );
  item.innerHTML = `<a class="open"><img alt=""></a>${buttons.join("")}`;
  document.body.replaceChildren(item);
  return item;
}
const marks = (item) => [...item.querySelectorAll(".drawn")].map((one) => one.className);
const mine = (kind) => ({ kind, note: "" });

export default {
  "what a finger is about to draw lies ready, and is the mark when it lifts": async () => {
    const item = frame();
    foresee(item, "subject", "pick");
    same(marks(item), ["drawn subject pick foreseen"]);
    const ahead = item.querySelector(".drawn");
    draw(item, "subject", mine("pick"), {}, "a pick");
    same(marks(item), ["drawn subject pick seen"]);
    same(item.querySelector(".drawn") === ahead, true, "the same element");
    same(item.querySelector(".pick[aria-pressed]").getAttribute("aria-pressed"), "true");
    await until(() => !ahead.classList.contains("seen"), "it has no layer of its own any more");
    same(marks(item), ["drawn subject pick"]);
  },
  "what was on the frame goes when another is drawn, the other side's stays": () => {
    const item = frame();
    draw(item, "subject", mine("pick"), { representation: "pick" }, "both");
    foresee(item, "subject", "strike");
    draw(item, "subject", mine("strike"), { representation: "pick" }, "a strike");
    same(marks(item).sort(), ["drawn representation pick", "drawn subject strike seen"]);
  },
  "a finger that goes elsewhere leaves nothing, and a second one no second": () => {
    const item = frame();
    foresee(item, "subject", "pick");
    foresee(item, "subject", "alternate");
    same(marks(item), ["drawn subject alternate foreseen"]);
    forgo(item);
    same(marks(item), []);
  },
  "news of the frame under a finger leaves what lies ready where it is": () => {
    const item = frame();
    foresee(item, "subject", "pick");
    draw(item, "subject", mine(""), { representation: "alternate" }, "the agent's");
    same(marks(item).sort(), ["drawn representation alternate", "drawn subject pick foreseen"]);
  },
};
