// How one frame of the sheet shows its marks: buttons, pencil over the picture, and the sentence that is heard.
import { $, $$, el, fill } from "../shared/dom.js";

const STRENGTH = { pick: 3, alternate: 2, strike: 1 };

export function sentence(words, frame, mine, theirs) {
  const said = [fill(words.frame, { label: frame.label }), frame.look ? fill(words.look, { n: frame.look }) : words.no_look];
  if (mine.kind) said.push(words[`my_${mine.kind}`]);
  for (const { role, kind, name } of theirs) said.push(fill(words[kind === "pick" ? `${role}_pick` : `their_${kind}`], { who: name }));
  if (said.length === 2) said.push(words.no_mark);
  if (mine.note) said.push(words.noted);
  if (frame.alike > 1) said.push(fill(words.run, { n: frame.alike }));
  return said.join(", ");
}
/** role -> kind: what is drawn. */
export function drawn(side, mine, theirs) {
  const kinds = side && mine.kind ? { [side]: mine.kind } : {};
  for (const { role, kind } of theirs) {
    if (role !== side && STRENGTH[kind] > (STRENGTH[kinds[role]] ?? 0)) kinds[role] = kind;
  }
  return kinds;
}
export function draw(item, side, mine, theirs, said) {
  const kinds = drawn(side, mine, theirs);
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
  $$(".drawn", open).forEach((one) => one.remove());
  for (const [role, kind] of Object.entries(kinds)) open.append(el("i", { className: `drawn ${role} ${kind}` }));
}
