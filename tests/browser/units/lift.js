import { onLift } from "/static/galleries/js/shared/lift.js";
import { same } from "./checks.js";

/** Two buttons under one root, and what was acted on, in turn. */
function two() {
  const root = document.createElement("div");
  root.innerHTML = '<button class="m" id="one">one</button><button class="m" id="two">two</button><p>no button</p>';
  document.body.replaceChildren(root);
  const acted = [];
  const told = [];
  onLift(root, "button.m", (button) => acted.push(button.id), {
    ready: (button) => told.push(`ready ${button.id}`),
    letGo: (button) => told.push(`let go ${button.id}`),
  });
  return { root, acted, told, one: root.children[0], other: root.children[1] };
}
const send = (at, kind, more = {}) =>
  at.dispatchEvent(
    new PointerEvent(kind, {
      bubbles: true,
      cancelable: true,
      pointerId: 5,
      isPrimary: true,
      pointerType: "touch",
      ...more,
    }),
  );

export default {
  "a finger acts when it lifts, and its click does nothing more": () => {
    const { acted, one } = two();
    send(one, "pointerdown");
    same(acted, []);
    send(one, "pointerup");
    same(acted, ["one"]);
    one.click();
    same(acted, ["one"]);
    one.click(); // another press: no finger's
    same(acted, ["one", "one"]);
  },
  "a tap on another button is another tap": () => {
    const { acted, one, other } = two();
    send(one, "pointerdown");
    send(one, "pointerup");
    send(other, "pointerdown");
    send(other, "pointerup");
    one.click();
    same(acted, ["one", "two", "one"]);
  },
  "a mouse and keys act at the click alone": () => {
    const { acted, one } = two();
    send(one, "pointerdown", { pointerType: "mouse" });
    send(one, "pointerup", { pointerType: "mouse" });
    same(acted, []);
    one.click();
    same(acted, ["one"]);
  },
  "a finger that scrolls, goes elsewhere or is a second one acts on nothing": () => {
    const { acted, root, one, other } = two();
    send(one, "pointerdown");
    send(one, "pointercancel");
    send(one, "pointerup");
    send(one, "pointerdown");
    send(other, "pointerup");
    send(one, "pointerdown", { clientX: 10, clientY: 10 });
    send(one, "pointerup", { clientX: 30, clientY: 10 });
    send(one, "pointerdown", { isPrimary: false });
    send(one, "pointerup", { isPrimary: false });
    send(root.lastChild, "pointerdown");
    send(root.lastChild, "pointerup");
    same(acted, []);
  },
  "the mouse's events of a tap are refused": () => {
    const { acted, one, root } = two();
    const end = (at) => at.dispatchEvent(new Event("touchend", { bubbles: true, cancelable: true }));
    send(one, "pointerdown");
    send(one, "pointerup");
    same(end(one), false, "the touch's own end");
    one.click(); // no click of that tap is still to come: this is another press
    same(acted, ["one", "one"]);
    same(end(one), true, "an end without a press");
    same(end(root.lastChild), true, "an end elsewhere");
  },
  "a click that is the browser's own is left to it": () => {
    const root = document.createElement("div");
    root.innerHTML = '<a href="#there" class="m">there</a>';
    const acted = [];
    onLift(root, "a.m", () => acted.push("act"), { aside: ({ ctrlKey }) => ctrlKey });
    const press = (more) =>
      root.firstChild.dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true, ...more }));
    same(press({ ctrlKey: true }), true);
    same(acted, []);
    same(press({}), false);
    same(acted, ["act"]);
  },
  "a finger that is put down is told, and that it will not act": () => {
    const { told, one, other } = two();
    send(one, "pointerdown");
    send(one, "pointerup");
    same(told, ["ready one"]);
    send(one, "pointerdown");
    send(one, "pointercancel");
    send(one, "pointerdown");
    send(other, "pointerup");
    same(told.slice(1), ["ready one", "let go one", "ready one", "let go one"]);
    send(one, "pointerdown", { pointerType: "mouse" });
    same(told.length, 5);
  },
};
