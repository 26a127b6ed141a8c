import { eachInItsHalf } from "/static/galleries/js/studio/eyes-apart.js";
import { holds, same } from "./checks.js";

const box = { width: 772, height: 580 };
const strip = { width: 1400, height: 900 };
const pupils = [
  [0.2, 0.5],
  [0.8, 0.52],
];

export default {
  "eyes that fit beside each other stay in one strip": () => {
    same(eachInItsHalf({ width: 1440, height: 580 }, strip, pupils), []);
    const near = [
      [0.45, 0.5],
      [0.55, 0.5],
    ]; // prettier-ignore
    same(eachInItsHalf(box, strip, near), []);
  },
  "an unknown face is not parted": () => same(eachInItsHalf(box, strip, []), []),
  "each eye of a close face lies in its half, which the picture fills": () => {
    const halves = eachInItsHalf(box, strip, pupils);
    const half = (box.width - 4) / 2;
    for (const [i, [left, top]] of halves.entries()) {
      const x = left + pupils[i][0] * strip.width,
        y = top + pupils[i][1] * strip.height;
      holds(x > half * 0.25 && x < half * 0.75, `eye ${i} at ${x} of ${half}`);
      holds(y > 0 && y < box.height, `eye ${i} at ${y} of ${box.height}`);
      holds(left <= 0 && left + strip.width >= half, `half ${i} is filled sideways`);
      holds(top <= 0 && top + strip.height >= box.height, `half ${i} is filled downwards`);
    }
  },
  "a picture lower than its half stands in the middle": () =>
    same(eachInItsHalf(box, { width: 1400, height: 300 }, pupils)[0][1], 140),
};
