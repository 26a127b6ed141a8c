import { Held, Sharpening } from "/static/galleries/js/invitee/pictures.js";
import { holds, same } from "./checks.js";

const wait = (ms) => new Promise((done) => setTimeout(done, ms));
const frame = (n) => ({ small: `s${n}`, middle: `m${n}`, large: `l${n}` });

/** A line that brings what is let through, and notes what was asked for and called back. */
function line({ broken = () => false, sides = { s: [320, 480], m: [720, 1080], l: [1365, 2048] } } = {}) {
  const asked = [],
    back = [],
    coming = new Map();
  const open = (src) => {
    asked.push(src);
    const image = { complete: false };
    const [width, height] = sides[src[0]];
    const decoded = new Promise((done, fail) => {
      coming.set(src, () => {
        image.complete = true;
        if (broken(src)) return fail(new Error("no network"));
        Object.assign(image, { naturalWidth: width, naturalHeight: height });
        done();
      });
    });
    decoded.catch(() => {});
    image.decode = () => decoded;
    Object.defineProperty(image, "src", { set: () => back.push(src) });
    return image;
  };
  const bring = async (...sources) => {
    for (const src of sources) coming.get(src)();
    await wait(0);
  };
  return { held: new Held(open), asked, back, bring };
}
function shown(held, stretch, more = {}) {
  const put = [];
  return {
    put,
    files: new Sharpening(held, { show: (src) => put.push(src), stretch: () => stretch, rest: 0, ...more }),
  };
}

export default {
  "small at once, then the middle one, the next frame's ahead of the large one": async () => {
    const { held, asked, bring } = line(),
      { put, files } = shown(held, 2);
    files.open(frame(1), { there: true, ahead: [frame(2), frame(3)] });
    same([put, asked], [["s1"], ["m1"]]);
    await bring("m1");
    same(
      [put, asked],
      [
        ["s1", "m1"],
        ["m1", "m2"],
      ],
    );
    await bring("m2");
    await wait(5);
    same(asked, ["m1", "m2", "l1"]);
    await bring("l1");
    same(put, ["s1", "m1", "l1"]);
    same(asked, ["m1", "m2", "l1", "m3"]);
  },
  "no large one where the screen has no pixels for it, until the person comes close": async () => {
    const { held, asked, bring } = line(),
      { files } = shown(held, 1.1);
    files.open(frame(1), { there: true });
    await bring("m1");
    await wait(5);
    same(asked, ["m1"]);
    holds(!files.soft(), "it is sharp enough as it stands");
    const close = files.closer();
    await bring("l1");
    holds(await close, "it came");
  },
  "frames that are passed by ask for no large one, and what is on its way for them is called back": async () => {
    const { held, asked, back, bring } = line(),
      { put, files } = shown(held, 2, { rest: 40 });
    for (const n of [1, 2, 3]) files.open(frame(n), { ahead: [frame(n + 1)] });
    await bring("m3");
    same(put, ["", "", "", "m3"]);
    same(back, ["m1", "m2"]);
    same(asked, ["m1", "m2", "m3", "m4"]);
  },
  "until a frame is there nothing comes beside it, the frame before least": async () => {
    const { held, asked, back, bring } = line(),
      { files } = shown(held, 1);
    files.open(frame(1), { ahead: [frame(2)] });
    files.open(frame(2), { ahead: [frame(3), frame(4), frame(1)] });
    same([asked, back], [["m1", "m2"], ["m1"]]);
    await bring("m2");
    same(asked, ["m1", "m2", "m3"]);
    files.open(frame(3), { ahead: [frame(4), frame(5), frame(2)] });
    same(back, ["m1"]); // it was fetched ahead, and is the one that is wanted now
  },
  "it is said when its pictures are wanted, and when all are there or cannot be had": async () => {
    const busy = [];
    const { held, bring } = line({ broken: (src) => src === "m9" }),
      { files } = shown(held, 2, { busy: (on) => busy.push(on) });
    files.open(frame(1), { ahead: [frame(2)] });
    await bring("m1");
    await bring("m2");
    await wait(5);
    same(busy, [true]); // the large one comes
    await bring("l1");
    same(busy, [true, false]);
    files.open(frame(9));
    same(busy, [true, false, true]);
    files.open(frame(2)); // passed by: what it would have said is said of this one
    await wait(5);
    await bring("l2");
    same(busy, [true, false, true, true, false]);
    files.open(frame(9));
    await bring("m9");
    same(busy.slice(5), [true, false]);
    files.close();
    same(busy.at(-1), false);
  },
  "what was fetched ahead stands there at once": async () => {
    const { held, bring } = line(),
      { put, files } = shown(held, 1);
    files.open(frame(1), { ahead: [frame(2)] });
    await bring("m1");
    await bring("m2");
    files.open(frame(2));
    same(put, ["", "m1", "m2"]);
  },
  "without a network the small one stays, and it is said once": async () => {
    const poor = [];
    const { held, bring } = line({ broken: () => true }),
      { put, files } = shown(held, 2, { poor: () => poor.push("poor") });
    files.open(frame(1));
    await bring("m1");
    same([put, poor], [["", "s1"], ["poor"]]);
    files.open(frame(1));
    await bring("m1"); // asked for anew: what failed is not held
    same(poor.length, 2);
  },
  "a frame from before there was a middle one shows the large one": async () => {
    const { held, asked, bring } = line(),
      { put, files } = shown(held, 3);
    files.open({ small: "s1", middle: null, large: "l1" }, { there: true });
    await bring("l1");
    await wait(5);
    same([put, asked], [["s1", "l1"], ["l1"]]);
  },
  "what is held is bounded, the newest stay": async () => {
    const { held, bring } = line();
    for (let n = 1; n <= 40; n += 1) {
      const loaded = held.load(n % 2 ? `l${n}` : `m${n}`);
      await bring(n % 2 ? `l${n}` : `m${n}`);
      await loaded;
    }
    const pixels = [...held.images.values()].reduce((sum, one) => sum + one.naturalWidth * one.naturalHeight, 0);
    holds(pixels <= 12e6, `${pixels} pixels`);
    holds(held.ready("m40") && held.ready("l39") && !held.ready("l1"), "the newest stay");
  },
};
