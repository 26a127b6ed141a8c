import { marksBeneath, onward, single, stacked } from "/static/galleries/js/studio/desk-stacks.js";
import { same } from "./checks.js";

const frame = (id, run = null, place = 0, hidden = false, marks = {}) => ({ id, run, place, hidden, marks });
const laid = (rows) => rows.map(({ frame, stands, alike, open }) => [frame.id, stands, alike, open]);

export default {
  "a closed stack stands for all its frames, best first, hidden ones last": () => {
    const frames = [frame(1), frame(2, 7, 1), frame(3, 7, 0, true), frame(4, 7, 2), frame(5, 8)];
    same(laid(stacked(frames, new Set())), [
      [1, [1], 0, false],
      [2, [2, 4, 3], 3, false],
      [5, [5], 0, false],
    ]);
  },
  "an open stack has each frame for itself and its count on the first": () => {
    const frames = [frame(2, 7, 1), frame(3, 7, 0)];
    same(laid(stacked(frames, new Set([7]))), [
      [3, [3], 2, true],
      [2, [2], 0, true],
    ]);
    same(laid([single(frame(9))]), [[9, [9], 0, false]]);
  },
  "marks beneath are told once for each side and kind": () => {
    same(marksBeneath([frame(1), frame(2, 1, 0, false, { s: "pick" })]), [["s", "pick"]]);
    const many = [{ s: "pick", r: "strike" }, { s: "pick" }, { s: "alternate" }];
    same(marksBeneath(many.map((marks, id) => frame(id, 1, 0, false, marks))), [
      ["s", "pick"],
      ["r", "strike"],
      ["s", "alternate"],
    ]);
  },
  "work goes on at the frame itself, the next that stays, or the last before": () => {
    const order = [5, 3, 9, 1];
    same(
      onward(order, 3, () => true),
      3,
    );
    same(
      onward(order, 3, (id) => ![3, 9].includes(id)),
      1,
    );
    same(
      onward(order, 1, (id) => id !== 1),
      9,
    );
    same(
      onward(order, 3, () => false),
      null,
    );
    same(
      onward(order, null, (id) => id !== 5),
      3,
    );
  },
};
