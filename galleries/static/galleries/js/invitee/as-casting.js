// As casting sees it: a frame of the list opens large, and is marked there; the list itself shows no marks.
import { $, $$, data, fill, say } from "../shared/dom.js";
import { setClock } from "../shared/net.js";
import { Answers } from "./answers.js";
import { sentence } from "./drawing.js";
import { framesOf } from "./frames.js";
import { Large } from "./large.js";
import { Marks } from "./marks.js";
import { Meanwhile } from "./meanwhile.js";
import { Notices } from "./notices.js";
import { Outbox } from "./outbox.js";

const words = data("words"),
  config = data("config"),
  first = data("state");
const frames = framesOf(data("frames"), config);
if (navigator.onLine) setClock(first.now);
const outbox = new Outbox({
  person: config.person,
  address: config.marks,
  onState: ({ waiting, offline }) => {
    if (waiting && offline) say(fill(words.unsent, { n: waiting }));
  },
  onAnswers: (...told) => answers.heard(...told),
  onRows: (ids) => marks.changed(ids.filter((id) => frames.has(id))),
  labelOf: (frame) => frames.get(frame)?.label,
});
const marks = new Marks(first, outbox);
const notices = new Notices($("#notices"), words, outbox, marks, frames);
const answers = new Answers({ marks, notices, frames, words, config });
const large = new Large($("#large"), { frames, marks, words, config, order, mark: press, undo });
const meanwhile = new Meanwhile({ frames, marks, outbox, notices, answers, words, config, gone });
marks.listeners.push(redraw);

/** The frames as they stand in the list now, each once. */
function order() {
  const tiles = $$(".casting-list [data-frame]").filter((tile) => tile.checkVisibility());
  return tiles.map((tile) => Number(tile.dataset.frame));
}
function redraw(ids) {
  for (const id of ids)
    for (const tile of $$(`a[data-frame="${id}"]`))
      tile.setAttribute("aria-label", sentence(words, frames.get(id), marks.of(id), marks.othersOf(id)));
  large.redraw();
}
/** These frames are on the sheet no longer: their places go, and the focus on one goes to the next. */
function gone(ids) {
  large.leave(new Set(ids));
  const places = ids.flatMap((id) => $$(`a[data-frame="${id}"]`)).map((tile) => tile.closest("li"));
  const held = places.find((place) => place.contains(document.activeElement));
  for (const place of places) place.hidden = true;
  if (!held) return;
  const tiles = $$("a[data-frame]").filter((tile) => tile.checkVisibility()),
    after = (tile) => held.compareDocumentPosition(tile) & Node.DOCUMENT_POSITION_FOLLOWING;
  (tiles.find(after) ?? tiles.at(-1) ?? $("h1")).focus();
}
function press(id, kind) {
  if (!meanwhile.markable()) return;
  const now = marks.press(id, kind);
  say(fill(words[now ? `said_${now}` : "said_none"], { label: frames.get(id).label }));
}
function undo() {
  if (!meanwhile.markable()) return;
  const frame = marks.undo((id) => frames.has(id) && !meanwhile.left.has(id));
  if (frame) say(fill(words.said_undone, { label: frames.get(frame)?.label ?? "" }));
  else say(words.nothing_to_undo);
}
document.addEventListener("click", (event) => {
  const tile = event.target.closest("a[data-frame]");
  if (!tile || event.ctrlKey || event.metaKey) return;
  event.preventDefault();
  large.open(Number(tile.dataset.frame));
});
if (config.person)
  outbox.open().then(() => {
    redraw([...outbox.rows.keys()].filter((id) => frames.has(id)));
    notices.show();
  });
large.fromAddress();
document.documentElement.dataset.ready = "1";
