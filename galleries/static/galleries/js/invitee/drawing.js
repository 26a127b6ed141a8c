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
  const ready = $(".drawn.foreseen", open);
  for (const one of $$(".drawn", open)) if (one !== ready) one.remove();
  for (const [role, kind] of Object.entries(kinds)) {
    if (ready?.matches(`.${role}.${kind}`)) shown(ready);
    else open.append(pencil(role, kind));
  }
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

/** Lay over the picture what a press is about to draw, painted on a layer of its own and not to be seen: then the press
    itself has nothing left to do but to show it. */
export function foresee(item, side, kind) {
  forgo(item);
  const ahead = pencil(side, kind);
  ahead.classList.add("foreseen");
  $("a.open", item).append(ahead);
}
/** The press did not come. */
export function forgo(item) {
  $(".drawn.foreseen", item)?.remove();
}
/** Seen; the layer of its own goes when the frame that shows it is through. */
function shown(ahead) {
  ahead.classList.replace("foreseen", "seen");
  afterFrame(() => ahead.classList.remove("seen"));
}
