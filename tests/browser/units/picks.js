import { lay, summary } from "/static/galleries/js/invitee/picks.js";
import { holds, same } from "./checks.js";

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
  "news while one walks through the picks leaves the focus on its frame, wherever that lies now": () => {
    const title = document.createElement("h2"),
      films = [document.createElement("ul"), document.createElement("ul")];
    title.tabIndex = -1;
    document.body.replaceChildren(title, ...films);
    const make = (id) => {
      const cell = document.createElement("li"),
        button = cell.appendChild(document.createElement("button"));
      button.dataset.frame = String(id);
      return cell;
    };
    const lies = (picks, alternates) =>
      lay(
        [
          [films[0], picks],
          [films[1], alternates],
        ],
        make,
        title,
      );
    const held = () => document.activeElement.dataset.frame;
    lies([4, 8], [6]);
    holds(document.activeElement === document.body, "nothing takes the focus by itself");
    document.querySelector("[data-frame='8']").focus();
    const kept = document.activeElement;
    lies([4, 8], [6]);
    holds(document.activeElement === kept, "a film of the same frames is not drawn again");
    lies([2, 4, 8], [6]);
    same(held(), "8");
    lies([2, 4], [6, 8]);
    same(held(), "8");
    same(
      films.map((film) => film.children.length),
      [2, 2],
    );
    lies([2, 4], [6]);
    holds(document.activeElement === title, "the focus is on the title when its frame is gone");
  },
};
