// A final, large: two pictures of it beside each other. Zoom and place of one are those of the other, by the eyes.
import { $, $$, data } from "../shared/dom.js";
import { Viewport } from "../shared/viewport.js";
import { follow } from "./eyes-locked.js";

const pictures = new Map(data("pictures").map((one) => [one.id, one]));
let leading = false;

const panes = $$(".pane").map((pane) => {
  const image = $("img", pane),
    pins = $(".pins-over", pane),
    choice = $("select", pane);
  const one = { pane, image, choice, shown: null };
  one.view = new Viewport($(".pane-stage", pane), $(".pane-picture", pane), { onChange: () => lead(one) });
  one.show = () => {
    one.shown = pictures.get(choice.value);
    image.src = one.shown.src;
    image.alt = one.shown.title;
    pins.replaceChildren(
      ...one.shown.pins.map(([number, x, y]) => {
        const pin = document.createElement("span");
        pin.className = "pin";
        pin.textContent = number;
        pin.style.left = `${x * 100}%`;
        pin.style.top = `${y * 100}%`;
        return pin;
      }),
      ...one.shown.changed.map((place) => {
        const box = document.createElement("span");
        box.className = "changed";
        for (const [at, side] of ["left", "top", "width", "height"].entries()) box.style[side] = `${place[at] * 100}%`;
        return box;
      }),
    );
    one.view.show(one.shown.w, one.shown.h, one.shown.eyes);
  };
  choice.addEventListener("change", one.show);
  return one;
});

function lead(one) {
  one.pane.style.setProperty("--scale", String(1 / (one.view?.scale || 1)));
  if (leading || !one.shown) return;
  leading = true;
  for (const other of panes) {
    if (other === one || !other.shown) continue;
    if (!one.view.zoomed) other.view.set(0);
    else {
      const { zoom, x, y } = follow(one.view, one.shown, other.shown);
      other.view.set(zoom, x, y);
    }
  }
  leading = false;
}

$("#zoom").addEventListener("click", () => panes[0].view.toggle());
$("#zoom-in").addEventListener("click", () => panes[0].view.by(1.4));
$("#zoom-out").addEventListener("click", () => panes[0].view.by(1 / 1.4));
for (const { pane, view } of panes) {
  $(".pane-stage", pane).addEventListener("keydown", (event) => {
    const far = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] }[event.key];
    if (far && view.zoomed) {
      event.preventDefault();
      view.pan(...far);
    } else if (event.key === "+") view.by(1.25);
    else if (event.key === "-") view.by(0.8);
    else if (event.key === "Enter") view.toggle();
  });
}
for (const one of panes) one.show();
document.documentElement.dataset.ready = "1";
