import { fill, number, plural } from "/static/galleries/js/shared/dom.js";
import { same } from "./checks.js";

const words = { kept: "{n} kept", frames: "{n} frames, {more}", frames_one: "{n} frame, {more}" };

export default {
  "one is told by the words for one, where there are any": () => {
    same(plural(words, "frames", 1, { more: "x" }), "1 frame, x");
    same(plural(words, "frames", 0, { more: "x" }), "0 frames, x");
    same(plural(words, "frames", 2, { more: "x" }), "2 frames, x");
    same(plural(words, "kept", 1), "1 kept");
  },
  // Unicode CLDR: the decimal point of German and Spanish is a comma.
  "a number is written as the page's language does": () => {
    const written = ["en", "de", "es"].map((language) => {
      document.documentElement.lang = language;
      return [number(0.54, 1), number(2, 1), number(2, 1, 0)].join(" ");
    });
    document.documentElement.lang = "";
    same(written, ["0.5 2.0 2", "0,5 2,0 2", "0,5 2,0 2"]);
  },
  "a value that nobody gave keeps its name, an empty one is left out": () => {
    same(fill("{a}{b}", { a: null }), "{b}");
  },
};
