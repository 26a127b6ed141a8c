import { Heaps } from "/static/galleries/js/invitee/heaps.js";
import { holds, raised, same } from "./checks.js";

const laid = (...heaps) => {
  const one = new Heaps([11, 12, 13, 14]);
  for (const heap of heaps) one.lay(heap);
  return one;
};
const had = { 11: "", 12: "pick", 13: "alternate", 14: "strike" };

export default {
  "every frame is looked at once, in the sheet's order, and the next two are known": () => {
    const one = laid("yes");
    same([one.frame, one.coming, one.over], [12, [13, 14], false]);
    for (const heap of ["no", "perhaps", "yes"]) one.lay(heap);
    same([one.of("yes"), one.of("perhaps"), one.of("no")], [[11, 14], [13], [12]]);
    holds(one.over && one.frame === undefined, "it is over");
    one.lay("no");
    same(one.place, 4, "nothing is laid after the last");
  },
  "each step is taken back, down to the first": () => {
    const one = laid("yes", "no");
    same([one.back(), one.frame, one.back(), one.frame, one.back()], [true, 12, true, 11, false]);
  },
  "one press makes marks of the heaps, and names only what changes": () => {
    const one = laid("yes", "yes", "perhaps", "no");
    same(
      one.marks((id) => had[id]),
      [[11, "", "pick"]],
    );
  },
  "what is left loses its pick, and is struck only where that is wanted": () => {
    const one = laid("no", "no", "no", "perhaps");
    const plain = [
      [14, "strike", "alternate"],
      [12, "pick", ""],
      [13, "alternate", ""],
    ];
    same(
      one.marks((id) => had[id]),
      plain,
    );
    same(
      one.marks((id) => had[id], true),
      [plain[0], [11, "", "strike"], [12, "pick", "strike"], [13, "alternate", "strike"]],
    );
  },
  "no heap but the three": async () => {
    holds((await raised(() => laid("never"))) instanceof Error, "it is refused");
  },
  "a frame that is there no longer lies on no heap, and the others stay where they were laid": () => {
    const one = laid("yes", "no", "perhaps");
    one.remove(12);
    one.remove(99);
    same([one.frame, one.place, one.of("yes"), one.of("no"), one.of("perhaps")], [14, 2, [11], [], [13]]);
    one.remove(14);
    holds(one.over, "it was the last");
  },
};
