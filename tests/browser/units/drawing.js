import { draw, foresee, forgo, showAhead } from "/static/galleries/js/invitee/drawing.js";
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
const over = (item) => [...item.querySelectorAll(".m > i")].map((one) => one.className);
const ahead = (item) => item.querySelectorAll(".m.ahead").length;
const pressed = (item) => [...item.querySelectorAll("[aria-pressed=true]")].map((one) => one.value);

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
    same([over(item), ahead(item)], [["pressed foreseen"], 1]);
    forgo(item);
    same([marks(item), over(item), ahead(item)], [[], [], 0]);
  },
  "it is shown by itself, and what is drawn then leaves the mark and nothing of what lay over it": () => {
    const item = frame();
    draw(item, "subject", mine(""), {}, "no mark");
    foresee(item, "subject", "strike");
    same(showAhead(item, "strike"), true);
    same([marks(item), over(item), pressed(item)], [["drawn subject strike seen"], ["pressed seen"], ["7:strike"]]);
    draw(item, "subject", mine("strike"), {}, "a strike");
    same([marks(item), over(item), ahead(item)], [["drawn subject strike"], [], 0]);
    same(pressed(item), ["7:strike"]);
  },
  "where it was no time to mark any more, all of it goes again": () => {
    const item = frame();
    draw(item, "subject", mine(""), {}, "no mark");
    foresee(item, "subject", "pick");
    showAhead(item, "pick");
    draw(item, "subject", mine(""), {}, "no mark");
    same([marks(item), over(item), ahead(item), pressed(item)], [[], [], 0, []]);
  },
  "where another mark has to go first, or nothing lies ready, nothing is shown by itself": () => {
    const item = frame();
    same(showAhead(item, "pick"), false);
    draw(item, "subject", mine("pick"), {}, "a pick");
    foresee(item, "subject", "alternate");
    same(showAhead(item, "alternate"), false);
    same(pressed(item), ["7:pick"]);
  },
  "news of the frame under a finger leaves what lies ready where it is": () => {
    const item = frame();
    foresee(item, "subject", "pick");
    draw(item, "subject", mine(""), { representation: "alternate" }, "the agent's");
    same(marks(item).sort(), ["drawn representation alternate", "drawn subject pick foreseen"]);
  },
};
