// "Your picks": all of them side by side at any time, what is left of the allowance, and "I am through".
import { $, $$, el, fill } from "../shared/dom.js";

/** What a person picked and kept in reserve of the frames on the sheet, and the looks of which they picked nothing.
    rows: [id, look, kind] in the sheet's order. */
export function summary(rows) {
  const of = (wanted) => rows.filter(([, , kind]) => kind === wanted).map(([id]) => id);
  const covered = new Set(rows.filter(([, , kind]) => kind === "pick").map(([, look]) => look));
  const looks = [...new Set(rows.map(([, look]) => look))].filter((look) => look && !covered.has(look));
  return { picks: of("pick"), alternates: of("alternate"), looks };
}

/** Lay out each [film, ids] anew: a film whose frames are the same stays as it is, and the focus on a frame goes with
    it to where it lies now, or to `or` when it lies nowhere. make(id): its item with a button of that data-frame. */
export function lay(films, make, or) {
  const held = document.activeElement?.dataset?.frame;
  for (const [film, ids] of films) {
    const there = $$("[data-frame]", film).map((button) => Number(button.dataset.frame));
    if (String(there) !== String(ids)) film.replaceChildren(...ids.map(make));
  }
  if (!held || document.activeElement?.dataset?.frame === held) return;
  const buttons = films.flatMap(([film]) => $$("[data-frame]", film));
  (buttons.find((button) => button.dataset.frame === held) ?? or).focus();
}

export class Picks {
  /** gone: ids of frames that are on the sheet no longer; open(id): that frame large; left(): the allowance in words */
  constructor(dialog, { gone, frames, marks, words, open, left }) {
    Object.assign(this, { dialog, gone, frames, marks, words, open, left });
    dialog.addEventListener("click", (event) => {
      if (event.target === dialog || event.target.closest("[data-act=close]")) dialog.close();
      const id = Number(event.target.closest("[data-frame]")?.dataset.frame);
      if (!id) return;
      dialog.close();
      this.open(id);
    });
    // What has not come is not wanted any more: when this is shown again it is made anew.
    dialog.addEventListener("close", () => {
      for (const picture of $$("img", dialog)) if (!picture.complete) picture.removeAttribute("src");
    });
  }
  show() {
    this.dialog.showModal();
    for (const film of $$(".picks-film", this.dialog)) film.replaceChildren(); // a proof may be another since
    this.redraw();
    $("#picks-title").focus();
  }
  redraw() {
    if (!this.dialog.open) return;
    const rows = [...this.frames.values()]
      .filter(({ id }) => !this.gone.has(id))
      .map(({ id, look }) => [id, look, this.marks.of(id).kind]);
    const { picks, alternates, looks } = summary(rows);
    $("#picks-alternates").hidden = alternates.length === 0;
    const films = [
      [$("#picks-film"), picks],
      [$("#picks-alternates ul"), alternates],
    ];
    lay(films, (id) => this.cell(id), $("#picks-title"));
    $("#picks-left").textContent = this.left() || fill(this.words.picked_n, { n: picks.length });
    $("#picks-looks").textContent = looks.length
      ? fill(this.dialog.dataset.looks, { looks: looks.map((look) => this.title(look)).join(", ") })
      : "";
    const beside = $("#picks-beside");
    beside.hidden = picks.length < 2;
    beside.href = `${beside.pathname}?frames=${picks.join(",")}`;
  }
  title(look) {
    const heading = $(`.look-strip[data-place="${look}"] h2`);
    return heading ? heading.dataset.title : fill(this.words.look, { n: look });
  }
  cell(id) {
    const { label, small: src, width, height } = this.frames.get(id); // the large one's size: of the same shape
    const button = el(
      "button",
      { type: "button", className: "plain-picture" },
      el("img", { src, width, height, alt: fill(this.words.frame, { label }) }),
      el("span", { className: "typed", textContent: label, ariaHidden: "true" }),
    );
    button.dataset.frame = String(id);
    return el("li", {}, button);
  }
  say(text) {
    $("#picks-said").textContent = text;
  }
  /** "I am through" arrived: said here, where it was pressed. False where this is not open. */
  through() {
    if (!this.dialog.open) return false;
    this.say(`${this.words.through_said} ${this.words.through_change}`);
    return true;
  }
}
