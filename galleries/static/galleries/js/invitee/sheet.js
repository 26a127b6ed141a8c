// The sheet: one listener for all frames; marks show at once and travel when they can.
import "../shared/bar.js";
import { $, $$, data, fill, plural, reveal, say } from "../shared/dom.js";
import { afterFrame, soon } from "../shared/later.js";
import { onLift } from "../shared/lift.js";
import { live } from "../shared/live.js";
import { sumOf } from "../shared/money.js";
import { setClock } from "../shared/net.js";
import { Answers } from "./answers.js";
import { before } from "./before.js";
import { become, draw, foresee, forgo, sentence, showAhead } from "./drawing.js";
import { Films } from "./films.js";
import { framesOf } from "./frames.js";
import { drop, keep, looking, stay } from "./kept.js";
import { HAND, Large } from "./large.js";
import { Marks } from "./marks.js";
import { fetchToo, small } from "./near.js";
import { Notices } from "./notices.js";
import { Outbox } from "./outbox.js";
import { Picks } from "./picks.js";
import { Sending } from "./sending.js";

const words = data("words"),
  config = data("config"),
  first = data("state");
const frames = framesOf(data("frames"), config);
const kindOf = (button) => button.value.split(":")[1];
const numberOf = (item) => Number(item.id.slice(1)); // its id is "f" and the frame's number
const chosen = new Set(),
  gone = new Set(), // frames that are on the sheet no longer
  hidden = new Set(); // and those that the person does not want to see now
let choosing = false,
  moved = -HAND, // when frames last moved in the window without the person's doing
  writeDown = () => {}; // the mark that is drawn already, if it is not yet, before anything else is done with marks
const picking = () => ["proofing", "agreeing"].includes(marks.state.stage);

if (navigator.onLine) setClock(first.now);
const sending = new Sending($("#sending"), words);
const outbox = new Outbox({
  person: config.person,
  address: config.marks,
  done: config.done,
  onAnswers: (...told) => answers.heard(...told),
  onState: (state) => sending.take(state),
  onRows: (ids) => marks.changed(ids.filter((id) => frames.has(id))),
  labelOf: (frame) => frames.get(frame)?.label,
  // The page says it by itself; over the large view nobody is torn away.
  onThrough: () => (picks?.through() ? null : large.dialog.open ? say(words.through_said) : location.reload()),
  says: () => Boolean(picks?.dialog.open || large.dialog.open),
});
const marks = new Marks(first, outbox);
const notices = new Notices($("#notices"), words, outbox, marks, frames);
const answers = new Answers({ marks, notices, frames, words, config });
const films = new Films($$(".look-strip"), { frames, fill: filled, hidden });
const { items } = films; // of the frames that have a cell by now
const cell = (id) => films.cell(id);
const large = new Large($("#large"), { frames, marks, words, config, order: visible, cell, mark: press, undo, busy });
const picks = $("#picks")
  ? new Picks($("#picks"), {
      gone,
      frames,
      marks,
      words,
      open: (id) => large.open(id),
      left: () => $("#allowance").textContent,
    })
  : null;
marks.listeners.push(redraw);

films.listeners.push(fetchToo);

function redraw(ids) {
  writeDown();
  for (const id of ids) if (items.has(id) && frames.has(id)) drawMarks(items.get(id), frames.get(id));
  counted();
  if (large.dialog.open) large.redraw();
}
function drawMarks(item, frame) {
  const { id } = frame,
    said = sentence(words, frame, marks.of(id), marks.othersOf(id));
  draw(item, config.side, marks.of(id), marks.sidesOf(id), said);
}
/** A copy of a cell becomes this frame's. */
function filled(item, frame) {
  become(item, words, frame);
  if (document.body.classList.contains("closed"))
    for (const button of $$("button.m", item)) button.setAttribute("aria-disabled", "true");
  drawMarks(item, frame);
}
/** The allowance in words, in all and per look; over it is a remark, not a wall. */
const counted = soon(count);
function count() {
  if (!config.person) return;
  const picked = marks.picked().filter((id) => frames.has(id) && !gone.has(id));
  const total = picked.length;
  for (const { strip, picked: place } of films.all) {
    const here = picked.filter((id) => String(frames.get(id).look ?? "") === strip.dataset.place).length;
    const said = here ? fill(words.look_some, { n: here }) : words.look_none;
    if (place && place.textContent !== said) place.textContent = said;
  }
  if (!config.chooses) return;
  const { allowance } = marks.state,
    left = allowance - total;
  let which = total === 0 ? "none_picked" : left > 0 ? "left" : left === 0 ? "full" : "over";
  if (!picking()) which = total ? "picked_closed" : "none_picked_closed";
  const sum = picking() ? sumOf(marks.state.extra, -left) : "";
  const said = [
    plural(words, which, allowance, { picks: total, allowance, left, over: -left }),
    sum ? fill(words.over_costs, { sum }) : "",
  ]
    .filter(Boolean)
    .join(" ");
  const place = $("#allowance");
  if (place.textContent !== said) place.textContent = said;
  picks?.redraw();
}
/** May a mark be set now? If not, the reason is said: a press that does nothing never stays silent. */
function markable() {
  if (config.may_mark && picking()) return true;
  say(config.may_mark ? words.closed_now : config.why_not);
  return false;
}
function press(id, kind) {
  writeDown();
  if (!markable()) return;
  if (!large.dialog.open && !picks?.dialog.open && performance.now() - moved < HAND) {
    say(words.moved);
    return;
  }
  const now = marks.press(id, kind);
  afterFrame(() => tell(fill(words[now ? `said_${now}` : "said_none"], { label: frames.get(id).label })));
}
/** A finger lies on a mark's button: what its lifting will draw is laid out and painted meanwhile, unseen. */
function foreseen(button) {
  const item = button.closest(".frame"),
    kind = kindOf(button);
  if (config.may_mark && picking() && marks.of(numberOf(item)).kind !== kind) foresee(item, config.side, kind);
}
/** A finger lifted: its mark is drawn in the next frame, and written down right after that frame, or when the page goes
 * before. */
function lifted(button) {
  const item = button.closest(".frame"),
    id = numberOf(item),
    kind = kindOf(button);
  writeDown();
  if (showAhead(item, kind))
    writeDown = afterFrame(() => {
      press(id, kind);
      drawMarks(item, frames.get(id)); // where it was no time to mark any more, as it was
    });
  else {
    press(id, kind);
    forgo(item); // where it was no time to mark, nothing was drawn
  }
}
/** Over the large view the tray is out of sight and hearing, so what it says is said there with the act. */
function tell(text) {
  say(large.dialog.open ? `${text} ${$("#allowance").textContent}` : text);
}
function undo() {
  writeDown();
  if (!markable()) return;
  const frame = marks.undo((id) => frames.has(id) && !gone.has(id));
  // After the frame in which it is counted: over the large view the count is said with it.
  if (frame) afterFrame(() => tell(fill(words.said_undone, { label: frames.get(frame)?.label ?? "" })));
  else say(words.nothing_to_undo);
}
function visible() {
  return [...frames.keys()].filter((id) => !hidden.has(id));
}
function hide(id, away) {
  away ? hidden.add(id) : hidden.delete(id);
  if (items.has(id)) items.get(id).hidden = away;
}

// --- what others do meanwhile ---
function changed(state) {
  const closed = picking();
  setClock(state.now);
  marks.take(state);
  if (closed && !picking()) notices.say(words.closed);
  if (!closed && picking()) {
    notices.unsay(words.closed);
    outbox.release();
  }
  if (closed !== picking()) shut(!picking());
  const there = new Set(state.frames);
  const fresh = state.frames.filter((id) => !frames.has(id)).length;
  $("#fresh").hidden = fresh === 0;
  $("#fresh button").textContent = fill(fresh === 1 ? words.fresh_one : words.fresh, { n: fresh });
  vanish(there);
  outbox.release("gone", there);
  notices.show();
}
/** While the list is closed nothing invites to go on choosing; the controls stay where they are, and say why. */
function shut(closed) {
  const at = document.activeElement;
  document.body.classList.toggle("closed", closed);
  // What goes with the list takes nobody's place away: on to why it went.
  if (!at.checkVisibility()) (picks?.dialog.open ? $("#picks-title") : $("#notices")).focus();
  for (const button of $$("button.m")) button.setAttribute("aria-disabled", String(closed));
  count();
}
/**
 * Frames that are on the sheet no longer. Whose act that was is told to the subject and the studio alone: for anybody
 * else a frame may have gone by what the subject struck or keeps, and that is not theirs to hear of.
 */
function vanish(there) {
  const going = [...frames.keys()].filter((id) => !there.has(id) && !gone.has(id));
  large.leave(new Set(going));
  for (const id of gone)
    if (there.has(id)) {
      gone.delete(id);
      hide(id, false);
    }
  for (const id of going) {
    gone.add(id);
    if (chosen.has(id)) choose(id, items.get(id));
    if (items.get(id)?.contains(document.activeElement)) onwards(id);
    if (inWindow(items.get(id))) moved = performance.now(); // what a hand is about to press is another frame now
    hide(id, true);
  }
  $("#empty").hidden = frames.size > gone.size;
  if (!going.length) return;
  drop(going.map((id) => frames.get(id).small));
  count();
  films.heights();
  if (!config.hears_why) return;
  const labels = going.map((id) => frames.get(id).label);
  notices.say(fill(going.length === 1 ? words.gone : words.gone_many, { label: labels[0], labels: labels.join(", ") }));
}
function inWindow(item) {
  if (!item?.checkVisibility()) return false;
  const { top, bottom } = item.getBoundingClientRect();
  return bottom > 0 && top < innerHeight;
}
/** The focus goes to the next frame that stands, or the one before: it is never lost with the frame it was on. */
function onwards(id) {
  const order = visible(),
    at = order.indexOf(id),
    next = cell(order[at + 1] ?? order[at - 1]);
  if (next) $("a.open", next).focus({ preventScroll: true });
}

/** What the large view wants comes before what the sheet asked for, and before what is kept for the time without a
 * network. */
function busy(on) {
  const back = on ? small.give() : [];
  if (!on) small.take(!large.dialog.open);
  looking(on, config, back);
}

// --- hands ---
const forgone = (button) => forgo(button.closest(".frame"));
onLift($("#sheet"), ".frame button.m", lifted, { ready: foreseen, letGo: forgone });
addEventListener("pagehide", () => writeDown());
document.addEventListener("visibilitychange", () => document.hidden && writeDown());
onLift(
  $("#sheet"),
  ".frame a.open",
  (link) => {
    const item = link.closest(".frame"),
      id = numberOf(item);
    if (choosing) choose(id, item);
    else large.open(id);
  },
  { aside: ({ ctrlKey, metaKey }) => ctrlKey || metaKey },
);
function choose(id, item) {
  chosen.has(id) ? chosen.delete(id) : chosen.add(id);
  item.toggleAttribute("data-chosen", chosen.has(id));
  $("#compare-now").hidden = chosen.size < 2;
  say(fill(words.selected, { n: chosen.size }));
}
$("#choose").addEventListener("click", ({ currentTarget }) => {
  choosing = !choosing;
  currentTarget.setAttribute("aria-pressed", String(choosing));
  if (!choosing) {
    chosen.clear();
    for (const item of items.values()) item.removeAttribute("data-chosen");
    $("#compare-now").hidden = true;
  }
  say(choosing ? words.select_more : "");
});
$("#compare-now").addEventListener("click", () => {
  location.href = `${config.compare}?frames=${[...chosen].join(",")}`;
});
$("#undo")?.addEventListener("click", undo);
// "I am through" is said where all picks stand: at the end of the sheet it opens them first. It waits for the marks
// before it, and for the network, as they do.
for (const form of $$("form.say-through"))
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    writeDown();
    if (!markable()) return;
    if (picks && !picks.dialog.open) picks.show();
    else if (await outbox.through()) (picks ?? { say }).say(words.through_waits);
  });
if (picks) for (const button of $$(".through .say-through button")) button.ariaHasPopup = "dialog";
$("#your-picks")?.addEventListener("click", () => picks.show());
$("#fresh button").addEventListener("click", () => location.reload());
$("#tools-open").addEventListener("click", ({ currentTarget }) => {
  const open = currentTarget.getAttribute("aria-expanded") !== "true";
  currentTarget.setAttribute("aria-expanded", open);
  $("#sheet-head").classList.toggle("open", open);
  if (open) scrollTo({ top: 0 });
});
$("#jump")?.addEventListener("change", ({ target }) => {
  const strip = document.getElementById(target.value);
  strip?.scrollIntoView();
  const first = films.all.find((one) => one.strip === strip)?.ids.find((id) => !hidden.has(id));
  if (first) $("a.open", cell(first)).focus({ preventScroll: true });
  target.value = "";
});
$("#order").addEventListener("change", ({ target }) => {
  location.href = location.pathname + (target.value ? `?order=${target.value}` : "");
});
$("#only").addEventListener("change", ({ target }) => {
  for (const id of frames.keys()) {
    const mine = marks.of(id).kind,
      any = mine === "pick" || marks.othersOf(id).some(({ kind }) => kind === "pick");
    const keep = {
      all: true,
      mine: mine === "pick" || mine === "alternate",
      any,
      open: !mine,
      unstruck: mine !== "strike",
    };
    hide(id, gone.has(id) || !keep[target.value]);
  }
  films.heights();
});
document.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key === "z" && !event.target.closest("input, textarea")) {
    event.preventDefault();
    undo();
  }
});
/** A frame or look named in the address, which may not have been there when the page came. */
function fromAddress() {
  const id = Number(location.hash.match(/^#f(\d+)$/)?.[1]);
  if (frames.has(id)) cell(id);
  if (location.hash) document.getElementById(location.hash.slice(1))?.scrollIntoView();
}

reveal();
films.heights();
count();
// The page came with its marks drawn; only what this device has not sent yet is laid over.
if (config.person)
  outbox.open().then(() => {
    notices.show();
    redraw([...outbox.rows.keys()]);
  });
live(config.changes, first.change, changed, (error) => answers.refused(error));
large.fromAddress();
if (films.left) fromAddress();
addEventListener("hashchange", fromAddress);
const pictures = [...frames.values()].map(({ small }) => small);
stay(words.stays, { root: $(".foot") }); // all that this page sends by itself waits in its outbox
keep(config, words, pictures).then(() => before({ ...config, words }));
document.documentElement.dataset.ready = "1";
