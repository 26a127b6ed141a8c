import { follow } from "/static/galleries/js/studio/eyes-locked.js";
import { near, same } from "./checks.js";

const frame = { w: 2000, h: 3000, eyes: [0.5, 0.4], gap: 0.1 };
const trimmed = { w: 1500, h: 1500, eyes: [0.6, 0.5], gap: 0.2 }; // another crop: the face is half as large again

export default {
  "the eyes lie at one place and are equally far apart": () => {
    const other = follow({ zoom: 1.5, x: 0.5, y: 0.4 }, frame, trimmed);
    same([other.x, other.y], [0.6, 0.5]);
    near(other.zoom * 0.2 * 1500, 1.5 * 0.1 * 2000, "pupils on the page");
  },
  "a place beside the eyes stays as many eye distances away": () => {
    const other = follow({ zoom: 1, x: 0.6, y: 0.4 + 200 / 3000 }, frame, trimmed);
    near(other.x, 0.6 + 300 / 1500);
    near(other.y, 0.5 + 300 / 1500);
  },
  "it is its own way back": () => {
    const there = follow({ zoom: 0.7, x: 0.31, y: 0.77 }, frame, trimmed),
      back = follow(there, trimmed, frame);
    for (const [name, wanted] of Object.entries({ zoom: 0.7, x: 0.31, y: 0.77 })) near(back[name], wanted, name);
  },
  "without a face known the part of the picture is the same": () => {
    same(follow({ zoom: 1, x: 0.2, y: 0.3 }, { ...frame, eyes: null }, trimmed), { zoom: 2000 / 1500, x: 0.2, y: 0.3 });
  },
};
