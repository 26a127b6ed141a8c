// Puts each pinned note over its place in the picture; without this script the place is told in words beside it.
import { $$, data } from "../shared/dom.js";
import { askFirst } from "./fetching.js";

askFirst(data("without-network").words);

for (const pin of $$(".marked .pin[data-place]")) {
  const [x, y, width, height] = pin.dataset.place.split(" ").map((part) => `${100 * Number(part)}%`);
  Object.assign(pin.style, { left: x, top: y });
  if (Number.parseFloat(width) || Number.parseFloat(height)) {
    Object.assign(pin.style, { width, height });
    pin.classList.add("box");
  }
  pin.hidden = false;
}
