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
import { draw, foresee, forgo, sentence } from "./drawing.js";
import { framesOf } from "./frames.js";
import { drop, keep } from "./kept.js";
import { Large } from "./large.js";
import { Marks } from "./marks.js";
import { Notices } from "./notices.js";
import { Outbox } from "./outbox.js";
import { Picks } from "./picks.js";

const words = data("words"),
  config = data("config"),
  first = data("state");
const frames = framesOf(data("frames"), config);
const kindOf = (button) => button.value.split(":")[1];
const numberOf = (item) => Number(item.id.slice(1)); // its id is "f" and the frame's number
const items = new Map($$(".frame").map((item) => [numberOf(item), item]));
const strips = $$(".look-strip").map((strip) => ({ strip, film: $(".film", strip), place: $("[data-picked]", strip) }));
const chosen = new Set();
let choosing = false,
  waited = false; // has anything of this page waited to be sent?
const picking = () => ["proofing", "agreeing"].includes(marks.state.stage);

if (navigator.onLine) setClock(first.now);
const outbox = new Outbox({
  person: config.person,
  address: config.marks,
  done: config.done,
  onAnswers: (...told) => answers.heard(...told),
  onState: sent,
  labelOf: (frame) => frames.get(frame)?.label,
  // The page says it by itself; over the large view nobody is torn away.
  onThrough: () => (picks?.through() ? null : large.dialog.open ? say(words.through_said) : location.reload()),
  says: () => Boolean(picks?.dialog.open || large.dialog.open),
});
const marks = new Marks(first, outbox);
const notices = new Notices($("#notices"), words, outbox, marks, frames);
const answers = new Answers({ marks, notices, frames, words, config });
const large = new Large($("#large"), { frames, marks, words, config, order: visible, mark: press, undo });
const picks = $("#picks")
  ? new Picks($("#picks"), {
      items,
      frames,
      marks,
      words,
      open: (id) => large.open(id),
      left: () => $("#allowance").textContent,
    })
  : null;
marks.listeners.push(redraw);

function redraw(ids = items.keys()) {
  for (const id of ids) {
    const item = items.get(id),
      frame = frames.get(id);
    if (item && frame)
      draw(
        item,
        config.side,
        marks.of(id),
        marks.sidesOf(id),
        sentence(words, frame, marks.of(id), marks.othersOf(id)),
      );
  }
  counted();
  if (large.dialog.open) large.redraw();
}
/** The allowance in words, in all and per look; over it is a remark, not a wall. */
const counted = soon(count);
function count() {
  if (!config.person) return;
  const picked = marks
    .picked()
    .map((id) => items.get(id))
    .filter((item) => item && !item.dataset.gone);
  const total = picked.length;
  for (const { film, place } of strips) {
    const here = picked.filter((item) => item.parentElement === film).length;
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
  if (!markable()) return;
  const now = marks.press(id, kind);
  afterFrame(() => tell(fill(words[now ? `said_${now}` : "said_none"], { label: frames.get(id).label })));
}
/** A finger lies on a mark's button: what its lifting will draw is laid out and painted meanwhile, unseen. */
function foreseen(button) {
  const item = button.closest(".frame"),
    kind = kindOf(button);
  if (config.may_mark && picking() && marks.of(numberOf(item)).kind !== kind) foresee(item, config.side, kind);
}
/** Over the large view the tray is out of sight and hearing, so what it says is said there with the act. */
function tell(text) {
  say(large.dialog.open ? `${text} ${$("#allowance").textContent}` : text);
}
function undo() {
  if (!markable()) return;
  const frame = marks.undo();
  // After the frame in which it is counted: over the large view the count is said with it.
  if (frame) afterFrame(() => tell(fill(words.said_undone, { label: frames.get(frame)?.label ?? "" })));
  else say(words.nothing_to_undo);
}
/** What waited is remembered at once, so that its being sent is said even when both come within one frame; and that all
 * is sent is taken back at once, so that it never stands beside something that waits. */
function sent(state) {
  if (state.waiting || state.held || state.offline) waited = true;
  const place = $("#sending");
  if ((state.waiting || state.held) && place.dataset.state === "sent") {
    place.dataset.state = "waiting";
    place.textContent = "";
  }
  sending(state);
}
const sending = soon(({ waiting, held, sending: busy, offline, shut, keeps }) => {
  const place = $("#sending");
  let said = "";
  if (!keeps && waiting) said = words.no_store;
  else if (waiting && shut) said = fill(words.unsent_shut, { n: waiting });
  else if (waiting && (offline || !busy)) said = fill(words.unsent, { n: waiting });
  else if (waiting && busy) said = fill(words.sending, { n: waiting });
  else if (offline) said = words.offline;
  else if (held) said = fill(words.held_here, { n: held });
  else if (waited) said = words.sent;
  place.dataset.state = waiting || held || offline ? "waiting" : said ? "sent" : "";
  if (place.textContent !== said) place.textContent = said;
});
const pictureOf = (item) => new URL($("img", item).src).pathname;
function visible() {
  return [...items].filter(([, item]) => !item.hidden).map(([id]) => id);
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
  const fresh = state.frames.filter((id) => !items.has(id)).length;
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
  const gone = [...items].filter(([id, item]) => !there.has(id) && !item.dataset.gone).map(([id]) => id);
  large.leave(new Set(gone));
  for (const [id, item] of items) {
    if (there.has(id) && item.dataset.gone) {
      delete item.dataset.gone;
      item.hidden = false;
    }
  }
  for (const id of gone) {
    const item = items.get(id);
    item.dataset.gone = "1";
    if (chosen.has(id)) choose(id, item);
    if (item.contains(document.activeElement)) onwards(id);
    item.hidden = true;
  }
  if (!gone.length) return;
  drop(gone.map((id) => pictureOf(items.get(id))));
  count();
  sizes();
  if (!config.hears_why) return;
  const labels = gone.map((id) => frames.get(id).label);
  notices.say(fill(gone.length === 1 ? words.gone : words.gone_many, { label: labels[0], labels: labels.join(", ") }));
}
/** The focus goes to the next frame that stands, or the one before: it is never lost with the frame it was on. */
function onwards(id) {
  const order = visible(),
    at = order.indexOf(id),
    next = items.get(order[at + 1] ?? order[at - 1]);
  if (next) $("a.open", next).focus({ preventScroll: true });
}

// --- hands ---
const forgone = (button) => forgo(button.closest(".frame"));
onLift(
  $("#sheet"),
  ".frame button.m",
  (button) => {
    press(numberOf(button.closest(".frame")), kindOf(button));
    forgone(button); // where it was no time to mark, nothing was drawn
  },
  { ready: foreseen, letGo: forgone },
);
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
  $("a.open", strip)?.focus({ preventScroll: true });
  target.value = "";
});
$("#order").addEventListener("change", ({ target }) => {
  location.href = location.pathname + (target.value ? `?order=${target.value}` : "");
});
$("#only").addEventListener("change", ({ target }) => {
  for (const [id, item] of items) {
    const mine = marks.of(id).kind,
      any = mine === "pick" || marks.othersOf(id).some(({ kind }) => kind === "pick");
    const keep = {
      all: true,
      mine: mine === "pick" || mine === "alternate",
      any,
      open: !mine,
      unstruck: mine !== "strike",
    };
    item.hidden = Boolean(item.dataset.gone) || !keep[target.value];
  }
  sizes();
});
document.addEventListener("keydown", (event) => {
  if ((event.ctrlKey || event.metaKey) && event.key === "z" && !event.target.closest("input, textarea")) {
    event.preventDefault();
    undo();
  }
});
/** The height that a strip outside the window will have, so that the scroll bar tells the truth. */
function sizes() {
  // All that is read is read before anything is written, and of one strip of each shape only: to ask for the layout of
  // a strip outside the window makes the browser lay it out.
  const grids = {},
    shape = (strip) => strip.classList.contains("lying"),
    tall = (strip) =>
      strip.className
        .match(/cell-(\d)x(\d)/)
        .slice(1)
        .reduce((wide, high) => high / wide),
    shown = (film) => film.querySelectorAll(":scope > :not([hidden])").length;
  for (const { strip, film } of strips) {
    if (grids[shape(strip)] || !shown(film) || strip.hidden) continue;
    const columns = getComputedStyle(film).gridTemplateColumns.split(" "),
      width = parseFloat(columns[0]),
      row = film.offsetHeight / Math.ceil(shown(film) / columns.length);
    grids[shape(strip)] = { across: columns.length, width, around: row - width * tall(strip) };
  }
  for (const { strip, film } of strips) {
    const { across, width, around } = grids[shape(strip)] ?? { across: 2, width: 190, around: 62 };
    const height = 40 + Math.ceil(shown(film) / across) * (width * tall(strip) + around);
    strip.style.containIntrinsicSize = `auto 100vw auto ${Math.round(height)}px`;
    strip.hidden = shown(film) === 0;
  }
}

reveal();
sizes();
count();
// The page came with its marks drawn; only what this device has not sent yet is laid over.
if (config.person)
  outbox.open().then(() => {
    notices.show();
    redraw([...outbox.rows.keys()]);
  });
live(config.changes, first.change, changed, (error) => answers.refused(error));
large.fromAddress();
keep(config, words, [...items.values()].map(pictureOf)).then(() => before({ ...config, words }));
document.documentElement.dataset.ready = "1";
