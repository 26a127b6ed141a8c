// How one frame of the sheet shows its marks: buttons, pencil over the picture, and the sentence that is heard.
import { $, $$, el, fill } from "../shared/dom.js";
import { afterFrame } from "../shared/later.js";

export function sentence(words, frame, mine, theirs) {
  const said = [
    fill(words.frame, { label: frame.label }),
    frame.look ? fill(words.look, { n: frame.look }) : words.no_look,
  ];
  if (mine.kind) said.push(words[`my_${mine.kind}`]);
  for (const { role, kind, name } of theirs)
    said.push(fill(words[kind === "pick" ? `${role}_pick` : `their_${kind}`], { who: name }));
  if (said.length === 2) said.push(words.no_mark);
  if (mine.note) said.push(words.noted);
  if (frame.alike > 1) said.push(fill(words.run, { n: frame.alike }));
  if (frame.suggested) said.push(words.suggested);
  return said.join(", ");
}
/** role -> kind: what is drawn. What other sides say is the server's word; on one's own side it is one's own mark. */
export function drawn(side, mine, sides) {
  return { ...(side && mine.kind ? { [side]: mine.kind } : {}), ...sides };
}
export function draw(item, side, mine, sides, said) {
  const kinds = drawn(side, mine, sides);
  const signature = JSON.stringify([mine.kind, Boolean(mine.note), kinds, said]);
  if (item.signature === signature) return;
  item.signature = signature;
  item.dataset.kind = mine.kind;
  item.toggleAttribute("data-noted", Boolean(mine.note));
  for (const button of $$("button.m", item)) {
    button.setAttribute("aria-pressed", String(button.value.endsWith(`:${mine.kind}`) && Boolean(mine.kind)));
  }
  const open = $("a.open", item);
  open.setAttribute("aria-label", said);
  const there = $$(".drawn", open),
    ahead = there.find((one) => one.matches(".foreseen, .seen"));
  const wanted = Object.entries(kinds).map(([role, kind]) =>
    ahead?.matches(`.${role}.${kind}`) ? ahead : pencil(role, kind),
  );
  for (const one of there) if (!wanted.includes(one) && !one.matches(".foreseen")) one.remove();
  open.append(...wanted.filter((one) => one !== ahead));
  if (!ahead) return;
  if (wanted.includes(ahead) && show(item)) afterFrame(() => settle(item));
  else settle(item);
}
const pencil = (role, kind) => el("i", { className: `drawn ${role} ${kind}` });

/** A copy of a cell becomes another frame's, its marks apart. The picture is of the large one's shape. */
export function become(cell, words, { id, label, small, large, width, height, suggested }) {
  cell.id = `f${id}`;
  $(".no", cell).textContent = label;
  $("a.open", cell).href = large;
  const picture = $("img", cell);
  picture.removeAttribute("fetchpriority");
  delete picture.dataset.near;
  Object.assign(picture, { loading: "lazy", width, height, src: small }); // lazy first: it is fetched by its place
  for (const button of $$("button.m", cell)) {
    const kind = button.value.split(":")[1];
    button.value = `${id}:${kind}`;
    button.setAttribute("aria-label", fill(words[`press_${kind}`], { label }));
  }
  $(".suggested", cell)?.remove();
  if (suggested) $("a.open", cell).after(el("span", { className: "suggested typed", textContent: words.suggested }));
}

/** Lay over picture and button what a press is about to draw, painted on layers of their own and not to be seen: then
    the press itself has nothing left to do but to show it. */
export function foresee(item, side, kind) {
  forgo(item);
  const button = $(`.m.${kind}`, item),
    [ahead, pressed] = [pencil(side, kind), el("i", { className: "pressed" })];
  for (const one of [ahead, pressed]) one.classList.add("foreseen");
  $("a.open", item).append(ahead);
  button.classList.add("ahead");
  button.append(pressed);
}
/** The press did not come. */
export function forgo(item) {
  for (const one of $$(".foreseen", item)) take(one);
}
/** Show what lies ready for this kind and nothing else, so that it is in the next frame; all the rest of the mark comes
    with `draw`. False where nothing lies ready, or where another mark has to go. */
export function showAhead(item, kind) {
  if (item.dataset.kind || !$(`.drawn.foreseen.${kind}`, item)) return false;
  item.signature = ""; // it says what `draw` drew
  $(`.m.${kind}`, item).setAttribute("aria-pressed", "true");
  return show(item);
}
function show(item) {
  const ready = $$(".foreseen", item);
  for (const one of ready) one.classList.replace("foreseen", "seen");
  return ready.length > 0;
}
/** The layers of their own go when the frame that showed them is through. */
function settle(item) {
  for (const one of $$(".seen", item)) {
    if (one.matches(".drawn")) one.classList.remove("seen");
    else take(one);
  }
}
function take(one) {
  one.parentElement.classList.remove("ahead");
  one.remove();
}
