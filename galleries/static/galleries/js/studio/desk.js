// The desk: lays the frames out by look, keeps the choice, sends acts, listens to keys and hands.

import { $, fill, say } from "../shared/dom.js";
import { ask, pause, post, sentenceOf, withRetry } from "../shared/net.js";
import { Choice } from "./desk-choice.js";
import { LargeView } from "./desk-large.js";
import { SideBySide } from "./desk-side.js";
import { Strips } from "./desk-strips.js";

const words = $("#words").dataset;
const place = $("#looks");
const to = place.dataset;
const state = { frames: new Map(), order: [], looks: [], change: -1, undo: "" };

const choice = new Choice(() => {
  strips.showChoice(choice.ids);
  $("#chosen").textContent = choice.ids.size;
});
const strips = new Strips(place, words, to, choice);
const large = new LargeView($("#large"), to, words, {
  choice,
  act,
  frames: state.frames,
  sequence: () => strips.sequence(),
  focus: (id) => strips.focus(id),
});
const side = new SideBySide($("#side"), to, words, { act, frames: state.frames });

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
    stacked: $("#stacked").checked,
  });
  choice.keep(state.frames);
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

const chosen = () => (choice.ids.size ? [...choice.ids] : strips.focused ? [strips.focused] : []);
const needed = (frames) => {
  if (!frames.length) say(words.none);
  return frames.length > 0;
};

const acts = {
  hide: (frames = chosen()) => needed(frames) && act({ do: "hide", frames, hidden: true }),
  show: (frames = chosen()) => needed(frames) && act({ do: "hide", frames, hidden: false }),
  async move(frames = chosen(), look = $("#move-to").value) {
    if (!needed(frames)) return;
    if (await act({ do: "move", frames, look: look === "new" ? "new" : Number(look) })) choice.clear();
  },
  split: () => needed(chosen()) && act({ do: "split", frame: strips.first(chosen()) }),
  undo: () => act({ do: "undo" }),
  clear: () => choice.clear(),
  open: () => needed(chosen()) && large.open(strips.first(chosen())),
  compare() {
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
  if (name === "start") return needed(chosen()) && act({ do: "start", look: id, frame: strips.first(chosen()) });
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
  dragged = choice.ids.has(id) ? [...choice.ids] : [id];
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
place.addEventListener("keydown", (event) => {
  const button = event.target.closest(".frame");
  if (!button || event.ctrlKey || event.metaKey || event.altKey) return;
  const id = Number(button.dataset.id);
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const frame = state.frames.get(id);
  let handled = true;
  if (key in steps || key === "ArrowUp" || key === "ArrowDown" || key === "Home" || key === "End") {
    const next =
      key in steps
        ? strips.beside(id, steps[key])
        : key === "Home" || key === "End"
          ? strips.end(key === "End")
          : strips.line(id, key === "ArrowDown");
    if (next) {
      strips.focus(next);
      if (event.shiftKey) choice.reach(next, strips.sequence(), id);
    }
  } else if (key === " ") choice.toggle(id);
  else if (key === "Enter") large.open(id);
  else if (key === "o" && frame.run !== null)
    strips.toggleRun(frame.run, () => {
      draw();
      strips.focus(id);
    });
  else if (key === "c") acts.compare();
  else if (key === "h") (frame.hidden ? acts.show : acts.hide)();
  else if (key === "m") $("#move-to").focus();
  else if (key === "n") act({ do: "split", frame: id }).then(() => strips.focus(id));
  else if (key === "e") large.open(id, true);
  else if (key === "t") acts.undo();
  else if (key === "a") choice.set(state.order.filter((one) => state.frames.get(one).look === frame.look));
  else if (key === "Escape") choice.clear();
  else handled = false;
  if (handled) event.preventDefault();
});
$("#keys-open").addEventListener("click", () => $("#keys").showModal());
$("#filters").addEventListener("change", (event) => {
  if (event.target.id !== "size") draw();
});
$("#filters").addEventListener("submit", (event) => event.preventDefault());
$("#size").addEventListener("input", () => strips.size(Number($("#size").value)));
if (innerWidth < 640) $("#size").value = "100";
strips.size(Number($("#size").value));

// --- news ------------------------------------------------------------------------------------------------------

const EVERY = 4000;
async function watch() {
  for (;;) {
    await pause(EVERY);
    if (!document.hidden && !document.querySelector("dialog[open]")) await load(state.change).catch(() => {});
  }
}
load()
  .then(watch)
  .catch((error) => {
    $("#tally").textContent = sentenceOf(error, words);
  });
