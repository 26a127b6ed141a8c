import {
  clampTilt,
  corners,
  fit,
  heightFor,
  inside,
  moved,
  resized,
  sized,
  widthFor,
} from "/static/galleries/js/studio/crop-math.js";
import { dice, holds, near, same } from "./checks.js";

const frame = { width: 4000, height: 6000 };
const crop = { x: 1000, y: 1000, width: 800, height: 1000, tilt: 0, ratio: [4, 5] };
const place = ({ x, y, width, height }) => [x, y, width, height];

export default {
  "one side follows from the other, halves rounded up": () => {
    // By hand: 8 × 10 inches at 4:5; 5 × 7 inches of 1500 pixels; a 35 mm × 45 mm passport shape; 1:2 of 5 is 2.5.
    same(heightFor(2400, [4, 5]), 3000);
    same(heightFor(1500, [5, 7]), 2100);
    same(heightFor(413, [35, 45]), 531);
    same(widthFor(5, [1, 2]), 3);
    same(heightFor(1, [100, 1]), 1);
  },
  "corners of a level crop are its corners; turned by 90° they change places": () => {
    same(corners({ x: 10, y: 20, width: 40, height: 40 }), [
      [10, 20],
      [50, 20],
      [50, 60],
      [10, 60],
    ]);
    const [[x, y]] = corners({ x: 10, y: 20, width: 40, height: 40, tilt: 90 });
    near(x, 50, "the first corner's x"); // clockwise, y pointing down: top left goes to top right
    near(y, 20, "the first corner's y");
  },
  "turning keeps every corner's distance from the middle": () => {
    const reach = Math.hypot(400, 500);
    for (const tilt of [-15, -3.3, 0.1, 8, 15])
      for (const [x, y] of corners({ ...crop, tilt })) near(Math.hypot(x - 1400, y - 1500), reach, `at ${tilt}°`, 1e-6);
  },
  "moved there and back it is where it was, and never outside": () => {
    const roll = dice(4);
    for (let turn = 0; turn < 200; turn += 1) {
      const [dx, dy] = [Math.round(roll() * 900), Math.round(roll() * 900)];
      same(place(moved(moved(crop, dx, dy, frame), -dx, -dy, frame)), place(crop), `by ${dx}, ${dy}`);
      holds(inside(moved(crop, dx * 9, -dy * 9, frame), frame), `inside after ${dx * 9}, ${-dy * 9}`);
    }
    same(place(moved(crop, -5000, 0, frame)), [0, 1000, 800, 1000]);
    same(place(moved(crop, 5000, 9000, frame)), [3200, 5000, 800, 1000]);
  },
  "another width keeps the middle and the shape, as far as the frame goes": () => {
    same(place(sized(crop, 400, frame)), [1200, 1250, 400, 500]);
    same(place(sized(crop, 99999, frame)).slice(2), [4000, 5000]);
    same(sized(crop, 1, frame).width, 64);
    same(place(sized({ ...crop, ratio: [1, 4] }, 99999, frame)).slice(2), [1500, 6000]);
  },
  "a pulled corner leaves the opposite one where it is": () => {
    const at = { n: "y", s: "y", w: "x", e: "x" };
    for (const grip of ["nw", "ne", "sw", "se"]) {
      const next = resized(crop, grip, grip.includes("w") ? -80 : 80, 0, frame);
      same([next.width, next.height], [880, 1100], grip);
      const fixed = (one) => [
        grip.includes("w") ? one[at.w] + one.width : one.x,
        grip.includes("n") ? one[at.n] + one.height : one.y,
      ];
      same(fixed(next), fixed(crop), `the corner opposite of ${grip}`);
    }
  },
  "a pull beyond the edge stops at it": () => {
    const next = resized(crop, "se", 99999, 99999, frame);
    holds(inside(next, frame), "it is inside");
    same(place(next), [1000, 1000, 3000, 3750]);
  },
  "a tilt is kept within 15°, to a tenth, and no corner leaves the frame": () => {
    same(clampTilt(crop, 99, frame).tilt, 15);
    same(clampTilt(crop, -4.27, frame).tilt, -4.3);
    const whole = { ...crop, x: 0, y: 0, width: 4000, height: 5000 };
    const turned = clampTilt(whole, 10, frame);
    holds(inside(turned, frame), "it is inside");
    holds(turned.width < 4000, "it became smaller");
    same(heightFor(turned.width, [4, 5]), turned.height);
  },
  "what fits stays": () => same(place(fit(crop, frame)), place(crop)),
};
