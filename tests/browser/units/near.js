import { fetchNear } from "/static/galleries/js/invitee/near.js";
import { same, until } from "./checks.js";

/** Cells that lie so many screens below the upper edge, and which of them may fetch their picture by now. */
function column(...screens) {
  const film = document.createElement("div"); // as long as the sheet of which they are the cells
  film.style.cssText = `position: relative; height: ${14 * innerHeight}px`;
  film.append(
    ...screens.map((one) => {
      const cell = document.createElement("div");
      cell.style.cssText = `position: absolute; width: 50px; height: 50px; top: ${one * innerHeight}px`;
      cell.append(new Image());
      return cell;
    }),
  );
  document.body.replaceChildren(film);
  const cells = [...film.children];
  return { cells, come: () => cells.flatMap((cell, n) => ("near" in cell.firstChild.dataset ? [screens[n]] : [])) };
}
/** Two frames drawn: what the observers had to say of them has come. */
const drawn = async () => {
  for (let turn = 0; turn < 2; turn += 1) await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
};

export default {
  "what is on the screen comes, the screen below at the first sign of a hand, and no more": async () => {
    const { cells, come } = column(0, 0.5, 1.2, 1.8, 2.5);
    fetchNear(cells);
    await until(() => come().length, "the first came");
    await drawn();
    same(come(), [0, 0.5]);
    dispatchEvent(new Event("pointerdown"));
    await until(() => come().length > 2, "more came");
    await drawn();
    same(come(), [0, 0.5, 1.2, 1.8]);
  },
  "a picture comes before its cell is scrolled to, and the far ones between are not fetched by a leap": async () => {
    const { cells, come } = column(0, 3, 8, 12);
    fetchNear(cells);
    await until(() => come().length, "the first came");
    scrollTo({ top: 7.5 * innerHeight, behavior: "instant" });
    await until(() => come().includes(8), "the cell that was leapt to came");
    await drawn();
    same(come(), [0, 8]);
    scrollTo({ top: 10.5 * innerHeight, behavior: "instant" });
    await until(() => come().includes(12), "the next came before it was on the screen");
    scrollTo({ top: 0, behavior: "instant" });
    document.body.replaceChildren();
  },
};
