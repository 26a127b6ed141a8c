// The desk: lays the frames out by look, keeps the choice, sends acts, listens to keys and hands.

import { $, $$, fill, plural, say } from "../shared/dom.js";
import { ask, lasting, pause, post, sentenceOf, withRetry } from "../shared/net.js";
import { Anew } from "./desk-anew.js";
import { changedSince, marksOf } from "./desk-changes.js";
import { Choice } from "./desk-choice.js";
import { CloseUps } from "./desk-close.js";
import { counts, holds, passes } from "./desk-filters.js";
import { Flagged } from "./desk-flagged.js";
import { Keeping } from "./desk-kept.js";
import { LargeView } from "./desk-large.js";
import { Rail } from "./desk-rail.js";
import { RESTING, Rest } from "./desk-rest.js";
import { SecondWindow } from "./desk-second.js";
import { SideBySide } from "./desk-side.js";
import { fitting } from "./desk-size.js";
import { onward } from "./desk-stacks.js";
import { Strips } from "./desk-strips.js";

const words = $("#words").dataset;
const place = $("#looks");
const to = place.dataset;
const state = { frames: new Map(), order: [], looks: [], change: -1, undo: "", by: "" };
const asked = { names: [], look: null };
const rail = new Rail($("#rail"));

const choice = new Choice(
  () => {
    strips.showChoice(choice.ids);
    $("#chosen").textContent = choice.ids.size;
  },
  (id) => strips.stands(id),
);
const strips = new Strips(place, words, to, choice);
const second = new SecondWindow();
const rested = new Rest(RESTING); // on a frame of the strips, before the second window fetches it large
const large = new LargeView($("#large"), to, words, {
  choice,
  acts: { hide, suggest, rest, undo: () => act({ do: "undo" }) },
  second: { toggle: toggleSecond, show: showSecond, sharpen: () => second.sharpen() },
  frames: state.frames,
  sequence: () => strips.every(),
  focus: (id) => strips.focus(id),
});
const side = new SideBySide($("#side"), to, words, { hide, frames: state.frames });
const closeUps = new CloseUps($("#closeups"), to, words, {
  frames: state.frames,
  acts: { hide, suggest, rest, undo: () => act({ do: "undo" }) },
});
const anew = new Anew($("#anew"), words, () => act({ do: "read" }));
const flagged = new Flagged($("#flagged"), words, { hide, frames: () => [...state.frames.values()] });

// --- state ---------------------------------------------------------------------------------------------------

function take(data) {
  if (data.frames) {
    state.frames.clear();
    for (const frame of data.frames) state.frames.set(frame.id, frame);
    state.order = data.frames.map((frame) => frame.id);
    state.soft = data.soft;
  }
  for (const [id, look, hidden, suggested] of data.places) {
    const frame = state.frames.get(id);
    if (frame) {
      frame.look = look;
      frame.hidden = Boolean(hidden);
      frame.suggested = Boolean(suggested);
    }
  }
  if (data.frames) compareMarks();
  state.looks = data.looks;
  state.change = data.change;
  state.undo = data.undo;
  anew.take(data.anew);
  draw();
  if (data.frames && fitted !== state.order.length) resize();
}

// Whose marks changed since the photographer last said that they had seen them; the first time all is seen.
const seen = new Keeping(`desk marks ${to.keep}`);
function compareMarks() {
  const { marks } = seen.read();
  if (!marks) return seeMarks();
  for (const frame of state.frames.values()) frame.changed = changedSince(marks, frame);
  return undefined;
}
function seeMarks() {
  seen.write({ marks: marksOf([...state.frames.values()]) });
  for (const frame of state.frames.values()) frame.changed = false;
}

function draw() {
  const frames = state.order.map((id) => state.frames.get(id));
  if (asked.look !== null && !state.looks.some((look) => look.id === asked.look)) asked.look = null;
  strips.draw(state, asked, $("#stacked").checked && !state.by);
  choice.keep(new Set(strips.every()));
  drawFilters(frames);
  drawRail(frames);
  $("#tally").textContent = state.order.length
    ? plural(words, "tally", state.order.length, {
        shown: strips.sequence().length,
        hidden: frames.filter((frame) => frame.hidden).length,
      })
    : words.empty;
  $("#seen").hidden = !frames.some((frame) => frame.changed);
  $("#undo").disabled = !state.undo;
  $("#undo").title = state.undo;
  const select = $("#move-to");
  const kept = select.value;
  select.replaceChildren(
    new Option(words.newlook, "new"),
    ...state.looks.map((look) => new Option(look.title, look.id)),
  );
  if ([...select.options].some((option) => option.value === kept)) select.value = kept;
}

function drawFilters(frames) {
  const boxes = $$("input[name=filter]");
  const left = counts(
    frames,
    boxes.map((box) => box.value),
    asked,
  );
  // What tells no frame from another is not offered; what was changed says so however many there are.
  const tells = (name) =>
    frames.some((frame) => holds(frame, name)) && (name === "changed" || !frames.every((frame) => holds(frame, name)));
  for (const box of boxes) {
    box.checked = asked.names.includes(box.value);
    box.parentElement.hidden = !box.checked && !tells(box.value);
    box.parentElement.querySelector(".number").textContent = left[box.value];
  }
  $("#all").setAttribute("aria-pressed", String(!asked.names.length && asked.look === null));
  $("#all .number").textContent = frames.length;
}

function drawRail(frames) {
  const count = (id) => frames.filter((frame) => (frame.look ?? 0) === id && passes(frame, { ...asked, look: null }));
  rail.draw(
    state.looks.map((look) => ({ ...look, count: count(look.id).length })),
    asked.look,
  );
  rail.at(state.frames.get(strips.focused)?.look);
}

async function act(body, done = words.done) {
  const before = state.change;
  try {
    const answer = await post(to.act, body);
    if (answer.change >= state.change) take(answer); // else a later act was answered first
    say(done);
    // Somebody else acted meanwhile: the answer says where the frames are, not what was marked or came in.
    if (state.change > before + 1) load().catch(() => {});
    return true;
  } catch (error) {
    const said = sentenceOf(error, words);
    say(said);
    $("#tally").textContent = said;
    return false;
  }
}

async function load(since = -1) {
  const data = await withRetry(() => ask(`${to.data}?since=${since}`));
  // What an act's answer overtook shows how things lay before it: it is asked for anew.
  if (data && data.change < state.change) return load(since);
  if (data) {
    if (since >= 0 && data.frames.length > state.order.length) say(words.new);
    take(data);
  }
  return undefined;
}

// --- acts on the chosen frames -------------------------------------------------------------------------------

const chosen = () => (choice.ids.size ? [...choice.ids] : strips.focused ? strips.stands(strips.focused) : []);
const needed = (frames) => {
  if (!frames.length) say(words.none);
  return frames.length > 0;
};

const earliest = (ids) => state.order.find((id) => ids.includes(id));

// Frames that were hidden are chosen no more, and the work goes on at the next one that is not hidden.
async function hide(frames, hidden) {
  const before = strips.every();
  const at = strips.focused;
  if (!(await act({ do: "hide", frames, hidden }, fill(hidden ? words.hid : words.showed, { n: frames.length }))))
    return false;
  choice.drop(frames);
  if (hidden)
    strips.focus(
      onward(before, at, (id) => strips.head(id) && !state.frames.get(id).hidden),
      strips.holds(),
    );
  return true;
}

// Suggesting is a word of the studio's: people's marks stay what they are.
function suggest(frames, suggested) {
  return act(
    { do: "suggest", frames, suggested },
    fill(suggested ? words.didsuggest : words.didnot, { n: frames.length }),
  );
}

// All others of its run go; the frame itself stays in focus.
async function rest(id) {
  const { run } = state.frames.get(id);
  const others = [...state.frames.values()].filter((one) => run !== null && one.run === run && one.id !== id);
  const frames = others.filter((one) => !one.hidden).map((one) => one.id);
  if (!frames.length) return say(words.norest);
  const done = await act({ do: "hide", frames, hidden: true }, fill(words.hid, { n: frames.length }));
  if (done) choice.drop(frames);
  return done;
}

const runOf = (id) => {
  const { run } = state.frames.get(id);
  return run === null ? [id] : strips.every().filter((one) => state.frames.get(one).run === run);
};

function showSecond(id) {
  const frame = state.frames.get(id);
  if (!frame || !second.open_) return;
  second.show({
    quick: frame.small,
    sharp: to.view.replace("/0.jpg", `/${id}.jpg`),
    alt: fill(words.frame, { label: frame.label }),
  });
}
function toggleSecond(id) {
  if (!second.toggle(document.title)) return;
  showSecond(id);
  second.sharpen();
}

const acts = {
  suggest(frames = chosen()) {
    if (!needed(frames)) return undefined;
    return suggest(frames, !frames.every((id) => state.frames.get(id).suggested));
  },
  flagged: () => flagged.open(asked.names),
  window: () => toggleSecond(strips.focused),
  hide: (frames = chosen()) => needed(frames) && hide(frames, true),
  show: (frames = chosen()) => needed(frames) && hide(frames, false),
  async move(frames = chosen(), look = $("#move-to").value) {
    if (!needed(frames)) return;
    if (await act({ do: "move", frames, look: look === "new" ? "new" : Number(look) })) choice.clear();
  },
  split: () => needed(chosen()) && act({ do: "split", frame: earliest(chosen()) }),
  undo: () => act({ do: "undo" }),
  clear: () => choice.clear(),
  open: () => needed(chosen()) && large.open(strips.first(chosen())),
  beside() {
    const frames = strips.inOrder(chosen());
    if (frames.length < 2 || frames.length > 4) say(words.two);
    else side.open(frames);
  },
};

$("#tools").addEventListener("click", (event) => {
  const name = event.target.closest("button")?.dataset.do;
  if (!name) return;
  further.open = false;
  acts[name]();
});
// What is needed seldom opens upwards, and closes by whatever is pressed beside it.
const further = $(".further");
document.addEventListener("click", (event) => {
  if (!further.contains(event.target)) further.open = false;
});
further.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || !further.open) return;
  event.stopPropagation();
  further.open = false;
  further.firstElementChild.focus();
});

// --- acts on looks -------------------------------------------------------------------------------------------

function lookAct(name, id) {
  const index = state.looks.findIndex((look) => look.id === id);
  const look = state.looks[index];
  const ours = state.order.filter((one) => state.frames.get(one).look === id);
  if (name === "accept" || name === "join") return act({ do: name, look: id });
  if (name === "hide look") return act({ do: name, look: id, hidden: !look.hidden });
  if (name === "choose") return choice.set(ours);
  if (name === "later") return ours[1] && act({ do: "start", look: id, frame: ours[1] });
  if (name === "start") return needed(chosen()) && act({ do: "start", look: id, frame: earliest(chosen()) });
  if (name === "merge")
    return act({ do: "merge", look: id, into: Number(strips.part(id).querySelector(".into").value) });
  if (name === "earlier") {
    const before = state.looks
      .slice(0, index)
      .reverse()
      .find((one) => state.order.some((f) => state.frames.get(f).look === one.id));
    const theirs = state.order.filter((one) => state.frames.get(one).look === before?.id);
    return theirs.length > 1 && act({ do: "start", look: id, frame: theirs.at(-1) });
  }
  if (name === "up" && index > 0) {
    const order = state.looks.map((one) => one.id);
    [order[index - 1], order[index]] = [order[index], order[index - 1]];
    return act({ do: "order", order });
  }
  return undefined;
}

place.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const look = Number(button.closest(".look").dataset.look);
  if (button.dataset.lookDo) lookAct(button.dataset.lookDo, look);
  else if (button.matches(".run")) strips.toggleRun(Number(button.dataset.run), () => draw());
  else if (button.matches(".frame")) {
    const id = Number(button.dataset.id);
    strips.focus(id, false);
    if (event.shiftKey) choice.reach(id, strips.sequence());
    else choice.toggle(id);
  }
});
// With a mouse the acts on one frame stand on it.
const near = $("#near");
const NEAR_WHOLE = 180; // pixels of a frame's width that all of them need; on a smaller one the first stands alone
place.addEventListener("pointerover", (event) => {
  const cell = event.target.closest(".cell");
  if (event.pointerType !== "mouse" || !cell || near.parentElement === cell) return;
  near.hidden = false;
  near.classList.toggle("small", cell.offsetWidth < NEAR_WHOLE);
  near.firstElementChild.textContent = state.frames.get(Number(cell.dataset.id)).hidden ? words.show : words.hide;
  cell.append(near);
});
near.addEventListener("click", (event) => {
  event.stopPropagation();
  const id = Number(near.parentElement.dataset.id);
  strips.focus(id);
  if (event.target.dataset.near === "open") large.open(id);
  else if (event.target.dataset.near === "suggest") suggest([id], !state.frames.get(id).suggested);
  else if (event.target.dataset.near === "hide") hide(strips.stands(id), !state.frames.get(id).hidden);
});
place.addEventListener("dblclick", (event) => {
  const button = event.target.closest(".frame");
  if (button) large.open(Number(button.dataset.id));
});
place.addEventListener("submit", (event) => {
  event.preventDefault();
  const look = Number(event.target.closest(".look").dataset.look);
  act({ do: "rename", look, title: event.target.elements.title.value });
});

// --- dragging to another look, in its strip or in the rail (the tools at the foot do the same without) -----------

const bench = $(".bench");
let dragged = [];
place.addEventListener("dragstart", (event) => {
  const cell = event.target.closest?.(".cell");
  if (!cell) return;
  const id = Number(cell.dataset.id);
  const ours = strips.stands(id);
  dragged = ours.some((one) => choice.ids.has(one)) ? [...choice.ids] : ours;
  event.dataTransfer.effectAllowed = "move";
  event.dataTransfer.setData("text/plain", String(dragged.length));
});
bench.addEventListener("dragover", (event) => {
  const look = event.target.closest?.("[data-look]");
  if (!dragged.length || !look) return;
  event.preventDefault();
  for (const one of bench.querySelectorAll(".over")) if (one !== look) one.classList.remove("over");
  look.classList.add("over");
});
bench.addEventListener("drop", (event) => {
  const look = event.target.closest?.("[data-look]");
  if (!dragged.length || !look) return;
  event.preventDefault();
  const frames = dragged;
  dragged = [];
  look.classList.remove("over");
  act({ do: "move", frames, look: Number(look.dataset.look) || null }).then((done) => done && choice.clear());
});
bench.addEventListener("dragend", () => {
  dragged = [];
  for (const one of bench.querySelectorAll(".over")) one.classList.remove("over");
});

// --- keys ----------------------------------------------------------------------------------------------------

const steps = { ArrowLeft: -1, ArrowRight: 1 };
const moves = ["ArrowLeft", "ArrowRight", "ArrowUp", "ArrowDown", "Home", "End"];

function step(key, id, reaching) {
  let next;
  if (key in steps) next = strips.beside(id, steps[key]);
  else if (key === "Home" || key === "End") next = strips.end(key === "End");
  else next = strips.line(id, key === "ArrowDown");
  if (!next) return;
  strips.focus(next);
  if (reaching) choice.reach(next, strips.sequence(), id);
}

// Each letter is the first of its act's own word; T takes back, as wherever pictures are marked.
const letters = {
  o(id) {
    const { run } = state.frames.get(id);
    if (run !== null) strips.toggleRun(run, draw);
    strips.focus(id);
  },
  b: () => acts.beside(),
  h: (id) => (state.frames.get(id).hidden ? acts.show() : acts.hide()),
  s: (id) => suggest([id], !state.frames.get(id).suggested),
  r: (id) => rest(id),
  c: (id) => closeUps.open(runOf(id)),
  y: () => show(asked.names.includes("suggested") ? [] : ["suggested"], null),
  w: () => acts.window(),
  f: () => acts.flagged(),
  m: () => $("#move-to").focus(),
  n: (id) => act({ do: "split", frame: earliest(strips.stands(id)) }).then(() => strips.focus(id)),
  e: (id) => large.open(id, true),
  t: () => acts.undo(),
  a: (id) => choice.set(state.order.filter((one) => state.frames.get(one).look === state.frames.get(id).look)),
};

// Keys work wherever the page has the focus: letters everywhere but where one writes or chooses from a list; arrows,
// space, Enter and Escape not on a control that has its own use for them.
document.addEventListener("keydown", (event) => {
  const on = event.target;
  const id = strips.focused;
  if (event.ctrlKey || event.metaKey || event.altKey || id === null || document.querySelector("dialog[open]")) return;
  if (on.closest("select, textarea, input:not([type=radio], [type=checkbox], [type=range])")) return;
  const ours = on.closest(".frame") || !on.closest("button, a, input, summary");
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (letters[key]) letters[key](id);
  else if (key === "Escape") choice.clear();
  else if (!ours) return;
  else if (moves.includes(key)) step(key, id, event.shiftKey);
  else if (key === " ") choice.toggle(id);
  else if (key === "Enter") large.open(id);
  else return;
  event.preventDefault();
});
place.addEventListener("focusin", (event) => {
  const cell = event.target.closest(".cell");
  if (!cell) return;
  strips.focus(Number(cell.dataset.id), false);
  rail.at(state.frames.get(strips.focused)?.look);
  showSecond(Number(cell.dataset.id));
  rested.after(() => second.sharpen());
});
$("#keys-open").addEventListener("click", () => $("#keys").showModal());

// --- size, stacking and filters, kept for this sitting in this browser -------------------------------------------

const kept = new Keeping(`desk ${to.keep}`);
const size = $("#size");
let chosenSize = null;
let fitted = -1; // how many frames there were when their size was last reckoned: news of marks moves nothing
// What is above and below the strips, in pixels, is measured: it wraps with the language and the size of the letters.
function resize() {
  const height = innerHeight - (place.getBoundingClientRect().top + scrollY) - $("#tools").offsetHeight;
  const letters = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
  const looks = strips.whole($("#stacked").checked);
  const tall = chosenSize ?? fitting({ width: place.clientWidth, height, looks, letters });
  fitted = state.order.length;
  size.value = tall;
  strips.size(tall);
}
function remembered() {
  const { filters = [], look = null, stacks, tall } = kept.read();
  const offered = $$("input[name=filter]").map((one) => one.value);
  asked.names = Array.isArray(filters) ? filters.filter((name) => offered.includes(name)) : [];
  asked.look = Number.isInteger(look) ? look : null;
  if (typeof stacks === "boolean") $("#stacked").checked = stacks;
  if (Number.isFinite(tall)) chosenSize = tall;
}
function remember() {
  kept.write({ filters: asked.names, look: asked.look, stacks: $("#stacked").checked, tall: chosenSize });
}
function show(names, look) {
  Object.assign(asked, { names, look });
  remember();
  draw();
}
function reorder({ value, dataset }) {
  state.by = value; // in stacks the frames of a run could not be told apart by it
  draw();
  if (value) say(dataset.mayErr);
}
$("#filters").addEventListener("change", (event) => {
  if (event.target === size) return remember();
  if (event.target.id === "order") return reorder(event.target);
  const names = $$("input[name=filter]:checked").map((one) => one.value);
  // What is hidden is not what is shown: the later word holds.
  const other = { hidden: "shown", shown: "hidden" }[event.target.checked && event.target.value];
  show(
    names.filter((name) => name !== other),
    asked.look,
  );
  return undefined;
});
$("#seen").addEventListener("click", () => {
  seeMarks();
  show(
    asked.names.filter((name) => name !== "changed"),
    asked.look,
  );
});
$("#all").addEventListener("click", () => show([], null));
$("#rail").addEventListener("click", (event) => {
  const button = event.target.closest("button");
  const id = Number(button?.closest("[data-look]").dataset.look);
  if (button?.matches(".only")) show(asked.names, asked.look === id ? null : id);
  else if (button) goTo(id);
});
// A look's first frame has the keyboard, and its head stands at the top of the window.
function goTo(look) {
  if (asked.look !== null && asked.look !== look) show(asked.names, null);
  const first = strips.sequence().find((id) => state.frames.get(id).look === look);
  if (first) strips.focus(first);
  strips.part(look)?.scrollIntoView({ block: "start" });
}
$("#filters").addEventListener("submit", (event) => event.preventDefault());
size.addEventListener("input", () => {
  chosenSize = Number(size.value);
  resize();
});
addEventListener("resize", resize);
remembered();
resize();

// --- news ------------------------------------------------------------------------------------------------------

const EVERY = 1500; // milliseconds: what another window does is seen here within two seconds
async function watch() {
  let took = 0;
  for (;;) {
    await pause(Math.max(EVERY, 2 * took)); // a desk of thousands that is slow to fetch is not fetched all the time
    if (document.hidden || document.querySelector("dialog[open]")) continue;
    const begun = performance.now();
    try {
      await load(state.change);
    } catch (error) {
      if (lasting(error)) throw error;
    }
    took = performance.now() - begun;
  }
}
load()
  .then(() => {
    if (document.activeElement === document.body && strips.focused) strips.focus(strips.focused);
    return watch();
  })
  .catch((error) => {
    $("#tally").textContent = sentenceOf(error, words);
  });
