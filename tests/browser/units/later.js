import { afterFrame, soon } from "/static/galleries/js/shared/later.js";
import { same, until } from "./checks.js";

const frame = () => new Promise((go) => requestAnimationFrame(go));

export default {
  "what waits for a frame is done after it, and once": async () => {
    const seen = [];
    afterFrame(() => seen.push("task"));
    requestAnimationFrame(() => seen.push("frame"));
    same(seen, []);
    await until(() => seen.includes("task"), "it was done");
    same(seen, ["frame", "task"]);
    await new Promise((go) => setTimeout(go, 300)); // past the time at which a page without frames would do it
    same(seen, ["frame", "task"]);
  },
  "what cannot wait is done at once, and not again": async () => {
    const seen = [];
    const run = afterFrame(() => seen.push("task"));
    afterFrame(() => seen.push("next"));
    run();
    same(seen, ["task"]);
    await until(() => seen.includes("next"), "the other one was done");
    run();
    same(seen, ["task", "next"]);
  },
  "one that fails takes no other with it": async () => {
    const seen = [];
    const told = (event) => {
      event.preventDefault();
      seen.push(event.message);
    };
    addEventListener("error", told);
    afterFrame(() => {
      throw new Error("torn");
    });
    afterFrame(() => seen.push("next"));
    await until(() => seen.includes("next"), "the other one was done");
    removeEventListener("error", told);
    same(seen, ["Uncaught Error: torn", "next"]);
  },
  "a page that draws no frames does it all the same": async () => {
    const asked = window.requestAnimationFrame;
    const seen = [];
    window.requestAnimationFrame = () => 0;
    try {
      afterFrame(() => seen.push("task"));
      await until(() => seen.length, "it was done");
    } finally {
      window.requestAnimationFrame = asked;
    }
    same(seen, ["task"]);
  },
  "asked for again before the frame it is done once, with the last word": async () => {
    const seen = [];
    const tell = soon((word) => seen.push(word));
    for (const word of ["one", "two", "three"]) tell(word);
    await until(() => seen.length, "it was told");
    await frame();
    same(seen, ["three"]);
    tell("four");
    await until(() => seen.length > 1, "it was told again");
    same(seen, ["three", "four"]);
  },
};
