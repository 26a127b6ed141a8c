// The desk: lays the frames out by look, keeps the choice, sends acts, listens to keys and hands.

import { $, $$, fill, say } from "../shared/dom.js";
import { ask, pause, post, sentenceOf, withRetry } from "../shared/net.js";
import { Choice } from "./desk-choice.js";
import { Keeping } from "./desk-kept.js";
import { LargeView } from "./desk-large.js";
import { SideBySide } from "./desk-side.js";
import { onward } from "./desk-stacks.js";
import { Strips } from "./desk-strips.js";

const words = $("#words").dataset;
const place = $("#looks");
const to = place.dataset;
const state = { frames: new Map(), order: [], looks: [], change: -1, undo: "" };

const choice = new Choice(
  () => {
    strips.showChoice(choice.ids);
    $("#chosen").textContent = choice.ids.size;
  },
  (id) => strips.stands(id),
);
const strips = new Strips(place, words, to, choice);
const large = new LargeView($("#large"), to, words, {
  choice,
  hide,
  frames: state.frames,
  sequence: () => strips.every(),
  focus: (id) => strips.focus(id),
});
const side = new SideBySide($("#side"), to, words, { hide, frames: state.frames });

// --- state ---------------------------------------------------------------------------------------------------

function take(data) {
  if (data.frames) {
    state.frames.clear();
    for (const frame of data.frames) state.frames.set(frame.id, frame);
    state.order = data.frames.map((frame) => frame.id);
  }
  for (const [id, look, hidden] of data.places) {
    const frame = state.frames.get(id);
    if (frame) {
      frame.look = look;
      frame.hidden = Boolean(hidden);
    }
  }
  state.looks = data.looks;
  state.change = data.change;
  state.undo = data.undo;
  draw();
}

function draw() {
  strips.draw(state, {
    filter: document.querySelector("input[name=filter]:checked").value,
    stacks: $("#stacked").checked,
  });
  choice.keep(new Set(strips.every()));
  const hidden = state.order.filter((id) => state.frames.get(id).hidden).length;
  $("#tally").textContent = state.order.length
    ? fill(words.tally, { frames: state.order.length, shown: strips.sequence().length, hidden })
    : words.empty;
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

async function act(body, done = words.done) {
  try {
    take(await post(to.act, body));
    say(done);
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
  if (data) {
    if (since >= 0 && data.frames.length > state.order.length) say(words.new);
    take(data);
  }
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

const acts = {
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
  if (name) acts[name]();
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
place.addEventListener("dblclick", (event) => {
  const button = event.target.closest(".frame");
  if (button) large.open(Number(button.dataset.id));
});
place.addEventListener("submit", (event) => {
  event.preventDefault();
  const look = Number(event.target.closest(".look").dataset.look);
  act({ do: "rename", look, title: event.target.elements.title.value });
});

// --- dragging to another look (the tools at the foot do the same without) ---------------------------------------

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
place.addEventListener("dragover", (event) => {
  const look = event.target.closest?.(".look");
  if (!dragged.length || !look) return;
  event.preventDefault();
  for (const one of place.querySelectorAll(".look.over")) if (one !== look) one.classList.remove("over");
  look.classList.add("over");
});
place.addEventListener("drop", (event) => {
  const look = event.target.closest?.(".look");
  if (!dragged.length || !look) return;
  event.preventDefault();
  const frames = dragged;
  dragged = [];
  look.classList.remove("over");
  act({ do: "move", frames, look: Number(look.dataset.look) || null }).then((done) => done && choice.clear());
});
place.addEventListener("dragend", () => {
  dragged = [];
  for (const one of place.querySelectorAll(".look.over")) one.classList.remove("over");
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

// Each letter is the first of its act's own word.
const letters = {
  o(id) {
    const { run } = state.frames.get(id);
    if (run !== null) strips.toggleRun(run, draw);
    strips.focus(id);
  },
  b: () => acts.beside(),
  h: (id) => (state.frames.get(id).hidden ? acts.show() : acts.hide()),
  m: () => $("#move-to").focus(),
  n: (id) => act({ do: "split", frame: earliest(strips.stands(id)) }).then(() => strips.focus(id)),
  e: (id) => large.open(id, true),
  u: () => acts.undo(),
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
  if (cell) strips.focus(Number(cell.dataset.id), false);
});
$("#keys-open").addEventListener("click", () => $("#keys").showModal());

// --- size, stacking and filter, kept for this sitting in this browser ----------------------------------------------

const kept = new Keeping(`desk ${to.keep}`);
const size = $("#size");
if (innerWidth < 640) size.value = "100";
function remembered() {
  const { filter, stacks, pixels } = kept.read();
  const radio = $$("input[name=filter]").find((one) => one.value === filter);
  if (radio) radio.checked = true;
  if (typeof stacks === "boolean") $("#stacked").checked = stacks;
  if (Number.isFinite(pixels)) size.value = pixels;
}
function remember() {
  kept.write({
    filter: $("input[name=filter]:checked").value,
    stacks: $("#stacked").checked,
    pixels: Number(size.value),
  });
}
$("#filters").addEventListener("change", (event) => {
  remember();
  if (event.target !== size) draw();
});
$("#filters").addEventListener("submit", (event) => event.preventDefault());
size.addEventListener("input", () => strips.size(Number(size.value)));
remembered();
strips.size(Number(size.value));

// --- news ------------------------------------------------------------------------------------------------------

const EVERY = 4000;
async function watch() {
  for (;;) {
    await pause(EVERY);
    if (!document.hidden && !document.querySelector("dialog[open]")) await load(state.change).catch(() => {});
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
