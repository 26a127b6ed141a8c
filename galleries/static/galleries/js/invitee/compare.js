// Two to four frames side by side, zoom and pan locked together; a knock-out that ends in an ordered list.
import { $, $$, data, el, fill, say } from "../shared/dom.js";
import { ask, sentenceOf, setClock } from "../shared/net.js";
import { Viewport } from "../shared/viewport.js";
import { Answers } from "./answers.js";
import { sentence } from "./drawing.js";
import { framesOf } from "./frames.js";
import { HeapsView } from "./heaps-view.js";
import { Knockout } from "./knockout.js";
import { HAND } from "./large.js";
import { level } from "./level.js";
import { Marks } from "./marks.js";
import { Meanwhile } from "./meanwhile.js";
import { Notices } from "./notices.js";
import { Outbox } from "./outbox.js";
import { Held, Sharpening } from "./pictures.js";
import { Sending } from "./sending.js";

const words = data("words"),
  config = data("config"),
  first = data("state");
const frames = framesOf(data("frames"), config);
const panes = $("#panes");
const MOST = 64; // frames that a knock-out takes; more than a few are offered the heaps
if (panes && frames.size > 1) start();

function start() {
  if (navigator.onLine) setClock(first.now);
  const sending = new Sending($("#sending"), words);
  const outbox = new Outbox({
    person: config.person,
    address: config.marks,
    // Each press is seen where it was made; said is what does not go by itself, and that it went then.
    onState: (state) => {
      if (!state.waiting || state.offline || state.shut || !state.keeps) sending.take(state);
    },
    onAnswers: (...told) => answers.heard(...told),
    onRows: (ids) => marks.changed(ids.filter((id) => frames.has(id))),
    labelOf: (frame) => frames.get(frame)?.label,
  });
  const marks = new Marks(first, outbox),
    notices = new Notices($("#notices"), words, outbox, marks, frames),
    answers = new Answers({ marks, notices, frames, words, config });
  const unstruck = [...frames.keys()].filter((id) => marks.of(id).kind !== "strike"),
    ids = () => (unstruck.length > 1 ? unstruck : [...frames.keys()]);
  let many = 2,
    pool = ids(), // who is in the question: all, or a heap of them
    game = new Knockout(pool, many),
    views = [],
    coming = new Held(), // pictures of those who come next
    close = false,
    wanted = 1,
    picked = "", // what was picked with the press that keeps the order
    locked = false,
    moved = -HAND, // when frames last changed places without the person's doing
    heaps = null;
  const meanwhile = new Meanwhile({ frames, marks, outbox, notices, answers, words, config, gone, closed });
  marks.listeners.push(redraw);
  if (config.person)
    outbox.open().then(() => {
      notices.show();
      redraw();
    });

  function round() {
    for (const view of views) {
      view.watch.disconnect();
      view.files.close();
    }
    views = [];
    moved = -HAND; // by the person's own doing, unless it is said
    if (game.over) return finish();
    $("#finished").hidden = true;
    heaps?.close();
    asking(true);
    question();
    panes.dataset.many = String(game.shown.length);
    locked = true; // until all are placed: a pane that is being made is no hand that moved one
    panes.replaceChildren(...game.shown.map(pane));
    $("#back-one").disabled = game.past.length === 0;
    ahead();
    place(); // eyes that were compared: go on with the eyes of those who come next
    redraw();
    $(".keep", panes).focus({ preventScroll: true });
  }
  function question() {
    const asked = game.placed.length ? words.question_place : words.question;
    $("#question").textContent = fill(asked, { presses: game.presses, place: game.place });
  }
  /** Frames have just changed places under the hand: what it pressed is not what it saw, and that is said. */
  function late() {
    if (performance.now() - moved > HAND) return false;
    say(words.moved);
    return true;
  }
  /** These frames are on the sheet no longer: out of the question, or out of the order. */
  function gone(ids) {
    const shown = game.shown.some((id) => ids.includes(id));
    pool = pool.filter((id) => !ids.includes(id));
    for (const id of ids) game.remove(id);
    if (!pool.length)
      location.reload(); // the page says so itself
    else if (heaps?.remove(ids)) return;
    else if (!$("#finished").hidden) {
      list(ordered().filter((id) => !ids.includes(id)));
      offer();
    } else if (shown || game.over) {
      round();
      moved = performance.now();
    } else question();
  }
  /** The list was closed, or is open again. */
  function closed() {
    document.body.classList.toggle("closed", Boolean(meanwhile.why));
    for (const button of $$("button.m", panes)) button.setAttribute("aria-disabled", String(Boolean(meanwhile.why)));
    if (!$("#finished").hidden) offer();
    heaps?.refresh();
  }
  /** Those who come next, once those who are asked about are there: beside them they would take half of a thin line. */
  async function ahead() {
    const these = views,
      addresses = game.coming.map((id) => frames.get(id).middle ?? frames.get(id).large);
    coming.want([]);
    await Promise.all(these.map(({ there }) => there));
    if (these !== views) return;
    for (const address of addresses) coming.load(address, true).catch(() => {}); // asked for anew when it is shown
  }
  function pane(id) {
    const frame = frames.get(id),
      picture = el("img", { alt: "" }),
      stage = el("div", { className: "stage" }, picture);
    const keep = el("button", {
      type: "button",
      className: "button main keep",
      textContent: fill(words.keep, { label: frame.label }),
    });
    keep.addEventListener("click", () => {
      if (late()) return;
      game.keep(id);
      say(fill(words.said_kept, { label: frame.label }));
      round();
    });
    const made = el(
      "article",
      { className: "pane" },
      el("p", { className: "edge" }, el("span", { className: "no", textContent: frame.label })),
      stage,
    );
    made.dataset.frame = String(id);
    made.append(keep);
    if (config.may_mark) {
      made.append(
        el(
          "div",
          { className: "marking" },
          ...["pick", "alternate", "strike"].map((kind) => {
            const button = el("button", { type: "button", className: `m ${kind}`, title: words[kind] });
            button.dataset.kind = kind;
            button.setAttribute("aria-label", `${words[kind]} ${frame.label}`);
            button.setAttribute("aria-disabled", String(Boolean(meanwhile.why)));
            button.addEventListener("click", () => {
              if (late() || !meanwhile.markable()) return;
              const now = marks.press(id, kind);
              say(fill(words[now ? `said_${now}` : "said_none"], { label: frame.label }));
              if (now !== "strike" || game.left < 3) return;
              game.leave(id); // out of the question: whoever it beat comes in its place
              round();
            });
            return button;
          }),
        ),
      );
    }
    const view = new Viewport(stage, picture, {
      onChange: lock,
    });
    let shown;
    view.there = new Promise((done) => {
      shown = done;
    });
    view.files = new Sharpening(new Held(), {
      show: (src) => {
        src ? picture.setAttribute("src", src) : picture.removeAttribute("src");
        if (src) shown();
      },
      stretch: (image) => (frame.width * view.scale * (window.devicePixelRatio || 1)) / image.naturalWidth,
      poor: () => say(words.small_only),
    });
    view.files.open(frame);
    views.push(view);
    view.show(frame.width, frame.height, frame.eyes);
    return made;
  }
  /** Close on the eyes; or, on a phone, each pane filled and the eyes equally far apart; or the whole frames. */
  function place() {
    locked = true;
    panes.classList.toggle("rows", close); // on a phone: both eyes need the width
    const fills = !close && matchMedia("(max-width: 48rem)").matches;
    const zooms = fills ? level(game.shown.map((id, i) => [frames.get(id), views[i].stage])) : [];
    for (const [i, view] of views.entries()) {
      view.level = zooms[i] ?? 1;
      if (close) view.set(Math.max(1, view.fit * 1.5), ...(view.eyes ?? [0.5, 0.4]));
      else if (fills) {
        const [x, y] = view.eyes ?? [0.5, 0.4];
        view.set(zooms[i], x, y + (0.08 * view.stage.clientHeight) / (view.height * zooms[i]));
      } else view.set(0);
    }
    locked = false;
    if (close) sharpen();
    $("#zoom").setAttribute("aria-pressed", String(close));
  }
  /** Close on the frames, each is wanted as sharp as it can be had. */
  function sharpen() {
    for (const view of views) if (view.zoomed && view.files.soft()) view.files.closer();
  }
  /** What one pane shows, the others show about their own eyes. */
  function lock(moved) {
    if (locked) return;
    if (!moved.zoomed) {
      close = false;
      panes.classList.remove("rows");
      $("#zoom").setAttribute("aria-pressed", "false");
    }
    locked = true;
    for (const view of views) {
      if (view === moved) continue;
      const [dx, dy] = view.eyes && moved.eyes ? [view.eyes[0] - moved.eyes[0], view.eyes[1] - moved.eyes[1]] : [0, 0];
      view.set(moved.zoomed ? (moved.zoom * view.level) / moved.level : 0, moved.x + dx, moved.y + dy);
    }
    locked = false;
    sharpen();
  }
  function redraw() {
    for (const made of $$(".pane", panes)) {
      const id = Number(made.dataset.frame),
        mine = marks.of(id);
      $("img", made).alt = sentence(words, frames.get(id), mine, marks.othersOf(id));
      for (const button of $$("button.m", made))
        button.setAttribute("aria-pressed", String(button.dataset.kind === mine.kind));
    }
    heaps?.refresh();
  }
  function finish() {
    asking(false);
    $("#back-one").hidden = false;
    $("#back-one").disabled = game.past.length === 0;
    list(game.order);
    $("#finished").hidden = false;
    offer();
    $("#finished h2").focus();
  }
  /** What can be done with the order now, in words and by which buttons. */
  function offer() {
    const { why } = meanwhile;
    $("#finished-words").textContent = why ? `${words.finished_only} ${why}` : words.finished;
    if (!config.may_mark) return;
    const here = new Set(ordered()),
      elsewhere = [...marks.mine].filter(([id, { kind }]) => kind === "pick" && !here.has(id)).length;
    wanted = Math.min(here.size, Math.max(1, marks.state.allowance - elsewhere));
    const lost = document.activeElement?.matches("#pick-first, #keep-order");
    $("#pick-first").hidden = $("#keep-order").hidden = Boolean(why);
    if (lost && why) $("#finished h2").focus();
    $("#pick-first").textContent = fill(words[wanted === 1 ? "pick_first_one" : "pick_first"], { n: wanted });
  }
  const ordered = () => $("#order-value").value.split(",").map(Number);
  /** The two to four that are asked about, with their tools, or none. */
  function asking(now) {
    panes.hidden = $("#compare-tools").hidden = $("#enough").hidden = $("#back-one").hidden = !now;
    if (now) return;
    for (const view of views) view.files.close();
    panes.replaceChildren();
    $("#question").textContent = "";
  }
  function list(order) {
    const move = (at, by) => {
      const next = [...order];
      next.splice(at + by, 0, ...next.splice(at, 1));
      list(next);
      $$("#order li")[at + by]?.querySelector("button")?.focus();
    };
    $("#order-value").value = order.join(",");
    $("#order").replaceChildren(
      ...order.map((id, at) => {
        const { label, small, width, height } = frames.get(id);
        const button = (words_, by, sign) => {
          const made = el("button", {
            type: "button",
            className: "button small",
            textContent: sign,
            disabled: at + by < 0 || at + by >= order.length,
          });
          made.setAttribute("aria-label", fill(words_, { label }));
          made.addEventListener("click", () => move(at, by));
          return made;
        };
        return el(
          "li",
          {},
          el("img", { src: small, width, height, alt: "", loading: "lazy" }), // its room is kept: no button moves away
          el("span", { className: "typed", textContent: label }),
          button(words.up, -1, "↑"),
          button(words.down, 1, "↓"),
        );
      }),
    );
  }
  $("#finished").addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = new FormData(event.target),
      said = [picked, words.kept_order].filter(Boolean).join(" ");
    picked = "";
    try {
      await ask(location.pathname, { method: "POST", form });
      say(said);
      $("#finished-words").textContent = said;
    } catch (error) {
      $("#finished-words").textContent = sentenceOf(error, { failed: words.unsent_order });
    }
  });
  // One press: the first of the order are picks, and the order is kept.
  $("#pick-first")?.addEventListener("click", () => {
    if (!meanwhile.markable()) return;
    for (const id of ordered().slice(0, wanted)) if (marks.of(id).kind !== "pick") marks.press(id, "pick");
    picked = fill(words[wanted === 1 ? "picked_first_one" : "picked_first"], { n: wanted });
    say(picked);
    $("#finished").requestSubmit();
  });
  $("#zoom").addEventListener("click", () => {
    close = !close;
    place();
  });
  $("#back-one").addEventListener("click", () => {
    if (game.back()) {
      say(words.taken_back);
      round();
    }
  });
  $("#enough").addEventListener("click", () => finish());
  $("#anew").addEventListener("click", () => {
    game = new Knockout(pool, many);
    round();
  });
  for (const button of $$("button[data-many]")) {
    button.addEventListener("click", () => {
      many = game.many = Number(button.dataset.many);
      for (const one of $$("button[data-many]")) one.setAttribute("aria-pressed", String(one === button));
      round();
    });
  }
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select") || event.ctrlKey || event.metaKey || game.over || panes.hidden)
      return;
    const far = { ArrowLeft: [-60, 0], ArrowRight: [60, 0], ArrowUp: [0, -60], ArrowDown: [0, 60] }[event.key];
    if (far && event.shiftKey && views[0]?.zoomed) {
      views[0].pan(...far);
      event.preventDefault();
    } else if (event.key === "ArrowRight" || event.key === "ArrowLeft") {
      const buttons = $$(".keep", panes),
        at = buttons.indexOf(document.activeElement);
      buttons[(at + (event.key === "ArrowRight" ? 1 : buttons.length - 1)) % buttons.length]?.focus();
      event.preventDefault();
    }
  });
  heaps =
    $("#heaps") &&
    new HeapsView($("#heaps"), {
      frames,
      marks,
      words,
      meanwhile,
      refused: () => outbox.held("closed").length > 0,
      most: MOST,
      order: (these) => {
        pool = these;
        game = new Knockout(pool, many);
        $("#heaps-offer").hidden = pool.length > MOST;
        round();
      },
    });
  function sort() {
    asking(false);
    $("#finished").hidden = $("#heaps-offer").hidden = true;
    heaps.start(ids());
  }
  if (heaps) {
    $("#heaps-offer span").textContent = fill(words.heaps_offer, { n: pool.length, presses: game.presses });
    $("#heaps-offer button").addEventListener("click", sort);
    $("#heaps [data-does=instead]").hidden = pool.length > MOST;
  }
  if (pool.length > MOST) sort();
  else round();
  if (unstruck.length > 1 && unstruck.length < frames.size)
    say(fill(words.left_out, { n: frames.size - unstruck.length }));
  document.documentElement.dataset.ready = "1";
}
