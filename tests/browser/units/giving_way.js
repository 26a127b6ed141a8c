import { GivingWay } from "/static/galleries/js/invitee/giving-way.js";
import { holds, same } from "./checks.js";

/** Pictures of a line on which nothing comes until it is said: {complete, src}, and what they told of. */
function pictures(...names) {
  return names.map((name) => {
    const picture = new EventTarget();
    const attributes = new Map([["src", name]]);
    Object.defineProperty(picture, "src", {
      get: () => attributes.get("src") ?? "",
      set: (value) => attributes.set("src", value),
    });
    return Object.assign(picture, {
      name,
      complete: false,
      loading: "lazy",
      getAttribute: (key) => attributes.get(key) ?? null,
      removeAttribute: (key) => attributes.delete(key),
      come() {
        picture.complete = true;
        picture.dispatchEvent(new Event("load"));
      },
    });
  });
}
const addresses = (all) => all.map(({ src }) => src);
function sheet(...names) {
  const all = pictures(...names),
    near = [],
    way = new GivingWay((one) => near.push(one.name));
  return { all, near, way };
}

export default {
  "what has not come gives way, what has come stays, and each is asked for again once": () => {
    const { all, near, way } = sheet("a", "b", "c");
    for (const one of all) way.ask(one);
    all[0].come();
    way.give();
    same(addresses(all), ["a", "", ""]);
    way.give(); // another frame
    way.take();
    same(addresses(all), ["a", "b", "c"]);
    same(near, ["a", "b", "c", "b", "c"]);
    holds(all[1].loading === "eager", "it comes though its cell is covered");
  },
  "those of the first screen, which nobody asked for, give way too": () => {
    const all = pictures("a", "b"),
      way = new GivingWay(() => {}, all);
    all[1].come();
    way.give();
    same(addresses(all), ["", "b"]);
    way.take();
    same(addresses(all), ["a", "b"]);
  },
  "what comes near meanwhile waits for its turn": () => {
    const { all, near, way } = sheet("a");
    way.give();
    way.ask(all[0]);
    same(near, []);
    way.take();
    same([near, addresses(all)], [["a"], ["a"]]);
  },
  "under the large view they come two at a time, and give way again": () => {
    const { all, way } = sheet("a", "b", "c", "d", "e");
    for (const one of all) way.ask(one);
    way.give();
    way.take(false);
    same(addresses(all), ["a", "b", "", "", ""]);
    all[0].come();
    same(addresses(all), ["a", "b", "c", "", ""]);
    all[1].dispatchEvent(new Event("error")); // one that cannot be had holds up none
    same(addresses(all), ["a", "b", "c", "d", ""]);
    all[1].complete = true; // as a browser has it of one that failed
    way.give();
    all[2].come(); // too late: it was called off, and nothing follows
    same(addresses(all), ["a", "b", "", "", ""]);
    way.take();
    same(addresses(all), ["a", "b", "c", "d", "e"]);
  },
};
