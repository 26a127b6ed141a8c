import { bitmap_of, Passing } from "/static/galleries/js/studio/desk-passing.js";
import { same } from "./checks.js";

async function drawn(width, height) {
  const canvas = new OffscreenCanvas(width, height);
  canvas.getContext("2d").fillRect(0, 0, width, height);
  return createImageBitmap(canvas);
}

export default {
  "a picture is drawn at its own size, says whose it is, and stands until the sharp one has come": async () => {
    const canvas = Object.assign(document.createElement("canvas"), { hidden: true });
    const scrolled = [];
    const passing = new Passing(canvas, { scrollTo: (...to) => scrolled.push(to) });
    passing.show(await drawn(30, 20), 7);
    same([canvas.width, canvas.height, canvas.dataset.frame, canvas.hidden], [30, 20, "7", false]);
    passing.show(await drawn(20, 30), 8);
    same([canvas.width, canvas.height, canvas.dataset.frame, scrolled], [20, 30, "8", [[0, 0]]]);
    passing.end();
    same(canvas.hidden, true);
  },
  "what is no picture fails, and one called off or let go holds no memory": async () => {
    const missing = bitmap_of("/static/galleries/js/studio/desk-passing.js");
    same(await missing.ready.catch((error) => error.name), "InvalidStateError");
    const called_off = bitmap_of("/static/galleries/js/studio/desk-passing.js");
    called_off.stop();
    same(await called_off.ready.catch((error) => error.name), "AbortError");
    same(called_off.picture, null);
    called_off.free();
  },
};
