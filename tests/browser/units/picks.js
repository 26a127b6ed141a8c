import { summary } from "/static/galleries/js/invitee/picks.js";
import { same } from "./checks.js";

export default {
  "picks and alternates stand in the sheet's order, struck and open frames in neither": () => {
    const rows = [
      [4, 1, "pick"],
      [5, 1, "strike"],
      [6, 1, "alternate"],
      [7, 2, ""],
      [8, 2, "pick"],
    ];
    same(summary(rows), { picks: [4, 8], alternates: [6], looks: [] });
  },
  "a look without a pick is named once, an alternate is none, and what lies in no look is no look": () => {
    const rows = [
      [1, 3, "alternate"],
      [2, 3, ""],
      [3, null, ""],
      [4, 1, "pick"],
      [5, 2, "strike"],
    ];
    same(summary(rows).looks, [3, 2]);
  },
  "nothing picked is nothing, not an error": () => same(summary([]), { picks: [], alternates: [], looks: [] }),
};
