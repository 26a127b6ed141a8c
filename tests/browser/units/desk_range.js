import { ordered } from "/static/galleries/js/studio/desk-range.js";
import { same } from "./checks.js";

const frame = (id, smile, intensity) => ({ id, range: smile === null ? undefined : { smile, intensity } });
const ids = (frames) => frames.map(({ id }) => id);
const frames = [frame(1, 0.9, 0.2), frame(2, null), frame(3, 0.1, null), frame(4, 0.9, 0.1)];

export default {
  "as taken without an order": () => same(ids(ordered(frames, "")), [1, 2, 3, 4]),
  "least first, the same as taken, those not read last": () => {
    same(ids(ordered(frames, "smile")), [3, 1, 4, 2]);
    same(ids(ordered(frames, "intensity")), [4, 1, 2, 3]);
  },
  "what it was given stays as it was": () => {
    ordered(frames, "smile");
    same(ids(frames), [1, 2, 3, 4]);
  },
};
