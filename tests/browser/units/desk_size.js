import { fitting, stripWidth, usualRatio } from "/static/galleries/js/studio/desk-size.js";
import { same } from "./checks.js";

const upright = (count) => Array.from({ length: count }, () => 2 / 3);
const WIDE = { width: 1768, height: 941 }; // what a window of 1,920 × 1,080 leaves to the strips
const SMALL = { width: 1128, height: 640 }; // and one of 1,280 × 800

export default {
  "a large sitting is shown in four rows, at either width": () => {
    for (const { width, height } of [WIDE, SMALL]) {
      const tall = fitting({ width, height, looks: [upright(120), upright(180)] });
      same(2 * 32 + 4 * (tall + 21) <= height, true);
      same(2 * 32 + 4 * (tall * 1.15 + 21) > height, true);
    }
  },
  "a sitting that can be seen whole is as tall as that allows": () => {
    const tall = fitting({ ...WIDE, looks: [upright(4), upright(2)] });
    same(stripWidth(upright(4), tall) + 4 + stripWidth(upright(2), tall) <= WIDE.width, true);
    same(tall > 400, true);
    same(fitting({ ...WIDE, looks: [upright(1)] }), 592);
  },
  "looks that fill no row are given the width, three rows in sight": () => {
    const looks = [10, 6, 7, 7, 5].map(upright);
    const tall = fitting({ ...WIDE, looks });
    same(stripWidth(looks[0], tall) <= WIDE.width, true);
    same(3 * (32 + tall + 21) <= WIDE.height, true);
    same(stripWidth(looks[0], tall + 8) > WIDE.width || 3 * (32 + tall + 8 + 21) > WIDE.height, true);
    const low = fitting({ ...SMALL, looks }); // where there is little height, four rows stay
    same(2 * 32 + 4 * (low + 21) <= SMALL.height, true);
  },
  "four rows are in sight where each look has a head and a row of its own": () => {
    const low = fitting({ ...SMALL, looks: [11, 11, 11, 11, 11].map(upright) });
    same(4 * (32 + low + 21) <= SMALL.height, true);
    same(4 * (32 + low + 4 + 21) > SMALL.height, true);
  },
  "large letters leave room for fewer rows, not for smaller pictures": () => {
    const looks = [upright(120), upright(180)];
    same(fitting({ ...SMALL, looks, letters: 2 }) >= fitting({ ...SMALL, looks }), true);
  },
  "on a phone three lie beside each other; a desk without a frame has a size": () => {
    const tall = fitting({ width: 390, height: 600, looks: [upright(9)] });
    same(3 * (tall * (2 / 3)) + 8 <= 380, true);
    same(Number.isFinite(fitting({ ...WIDE, looks: [] })), true);
  },
  "the middle shape is taken of all": () => {
    same(usualRatio([1.5, 0.8, 2 / 3, 2 / 3, 0.8]), 0.8);
    same(usualRatio([]), 2 / 3);
  },
};
