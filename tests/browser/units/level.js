import { level } from "/static/galleries/js/invitee/level.js";
import { along } from "/static/galleries/js/shared/viewport.js";
import { holds, same } from "./checks.js";

const stage = { clientWidth: 190, clientHeight: 400 };
const near = (a, b) => Math.abs(a - b) < 1e-9;

export default {
  "eyes are equally far apart, and every pane is filled": () => {
    const frames = [
      { width: 1000, height: 1500, gap: 0.2 },
      { width: 1365, height: 2048, gap: 0.05 },
      { width: 1600, height: 1000, gap: 0.1 },
    ];
    const zooms = level(frames.map((frame) => [frame, stage]));
    const apart = frames.map(({ width, gap }, i) => width * gap * zooms[i]);
    holds(near(apart[0], apart[1]) && near(apart[1], apart[2]), `${apart} are equal`);
    for (const [i, { width, height }] of frames.entries())
      holds(width * zooms[i] >= 190 - 1e-9 && height * zooms[i] >= 400 - 1e-9, `pane ${i} is filled`);
  },
  "a frame whose eyes are not known fills its pane": () => {
    const [zoom] = level([[{ width: 800, height: 1200, gap: null }, stage]]);
    holds(near(zoom, 400 / 1200), `${zoom} covers`);
  },
  "the whole picture follows a finger one way: sideways, or down, never up": () => {
    same(along(3, 4), [0, 0]);
    same(along(-60, 20), [-60, 0]);
    same(along(20, 60), [0, 60]);
    same(along(20, -60), [0, 0]);
  },
};
