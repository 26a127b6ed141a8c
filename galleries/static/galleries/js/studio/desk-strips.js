// Draws the strips: one part per look, one cell per frame. A cell is made once and moved, never made anew,
// so that an act on one frame of a thousand costs the few cells it touches.
import { fill } from "../shared/dom.js";
import { passes, stacksHold } from "./desk-filters.js";
import { ordered } from "./desk-range.js";
import { GAP } from "./desk-size.js";
import { marksBeneath, onward, single, stacked } from "./desk-stacks.js";

const SIGNS = { pick: "○", alternate: "[ ]", strike: "╱" };

export class Strips {
  constructor(place, words, to, choice) {
    Object.assign(this, { place, words, to, choice });
    this.cells = new Map();
    this.parts = new Map();
    this.openRuns = new Set();
    this.order = [];
    this.rows = new Map();
    this.heads = new Map();
    this.focused = null;
    this.state = null;
  }

  part(look) {
    return this.parts.get(look);
  }
  sequence() {
    return this.order;
  }
  // What a cell stands for: its frame, or all of a closed stack.
  stands(id) {
    return this.rows.get(id)?.stands ?? [id];
  }
  // The cell that stands for a frame.
  head(id) {
    return this.heads.get(id);
  }
  // Every frame on the desk, those inside closed stacks after the one that covers them.
  every() {
    return [...this.heads.keys()];
  }
  inOrder(ids) {
    const set = new Set(ids);
    return this.every().filter((id) => set.has(id));
  }
  first(ids) {
    return this.inOrder(ids)[0] ?? ids[0];
  }

  draw(state, asked, stacks) {
    const held = this.place.contains(document.activeElement) && document.activeElement.matches(".frame");
    this.state = state;
    this.titles = new Map(state.looks.map((look) => [look.id, look.title]));
    const groups = byLook(state, (frame) => passes(frame, asked));
    const before = this.order;
    this.order = [];
    this.rows.clear();
    this.heads.clear();
    const wanted = [];
    for (const look of [
      ...state.looks,
      { id: 0, title: this.words.unsorted, reason: "", purpose: "", hidden: false },
    ]) {
      const frames = groups.get(look.id);
      if (!frames.length && (!look.id || asked.names.length || asked.look !== null)) continue;
      wanted.push(this.drawLook(look, frames, stacks && stacksHold(asked)));
    }
    for (const [id, part] of this.parts)
      if (!wanted.includes(part)) {
        part.remove();
        this.parts.delete(id);
      }
    wanted.forEach((part, index) => {
      if (this.place.children[index] !== part) this.place.insertBefore(part, this.place.children[index] ?? null);
    });
    for (const [id, cell] of this.cells)
      if (!state.frames.has(id)) {
        cell.remove();
        this.cells.delete(id);
      }
    this.showChoice(this.choice.ids);
    this.focused =
      this.head(this.focused) ?? onward(before, this.focused, (id) => this.rows.has(id)) ?? this.order[0] ?? null;
    this.tabStop();
    if (held && !this.place.contains(document.activeElement)) this.focus(this.focused);
  }

  drawLook(look, frames, stacks) {
    let part = this.parts.get(look.id);
    if (!part) {
      part = document.getElementById("look-part").content.firstElementChild.cloneNode(true);
      part.dataset.look = look.id;
      part.querySelector("h2").id = `look-${look.id}`;
      part.setAttribute("aria-labelledby", `look-${look.id}`);
      part.querySelector(".setup").href = this.to.look.replace(/0$/, look.id);
      if (!look.id) part.querySelector(".more").hidden = true;
      this.parts.set(look.id, part);
    }
    part.classList.toggle("is-hidden", look.hidden);
    part.querySelector(".title").textContent = look.title;
    part.querySelector(".count").textContent = frames.length;
    part.querySelector(".kind").textContent = look.hidden ? `${look.purpose}, ${this.words.hidden}` : look.purpose;
    part.classList.toggle("is-proposed", Boolean(look.reason));
    const soft = part.querySelector(".throughout");
    soft.textContent = soft.title = this.state.soft[look.id] ?? "";
    soft.hidden = !soft.textContent;
    part.querySelector(".proposed").hidden = !look.reason;
    const why = part.querySelector(".why");
    why.textContent = fill(this.words.proposed, { why: look.reason });
    why.title = why.textContent;
    part.querySelector("[data-look-do='hide look']").textContent = look.hidden
      ? this.words.showlook
      : this.words.hidelook;
    const title = part.querySelector("[name=title]");
    if (document.activeElement !== title) title.value = look.title;
    const into = part.querySelector(".into");
    into.replaceChildren(
      ...this.state.looks.filter((one) => one.id !== look.id).map((one) => new Option(one.title, one.id)),
    );
    const rows = stacks ? stacked(frames, this.openRuns) : frames.map(single);
    this.lay(part.querySelector(".frames"), rows);
    // How wide it would lie in one row: strips that fit beside each other share a line.
    part.style.setProperty("--ratios", rows.reduce((sum, { frame }) => sum + ratioOf(frame), 0).toFixed(4));
    part.style.setProperty("--gaps", `${Math.max(rows.length - 1, 0) * GAP}px`);
    return part;
  }

  lay(list, rows) {
    // Those that leave go first, so that the rest stay where they are: a moved element would lose the focus.
    const staying = new Set(rows.map(({ frame }) => String(frame.id)));
    for (const cell of [...list.children]) if (!staying.has(cell.dataset.id)) cell.remove();
    let at = list.firstElementChild;
    for (const row of rows) {
      const { frame } = row;
      const cell = this.cell(frame);
      this.badge(cell.children[1], row);
      this.rows.set(frame.id, row);
      for (const id of row.stands) this.heads.set(id, frame.id);
      if (cell === at) at = at.nextElementSibling;
      else list.insertBefore(cell, at);
      this.order.push(frame.id);
    }
  }

  // How many are alike, and the marks on those that the stack covers, in one line over the picture: with marks the
  // number stands alone, and whether it is open shows by its ground. The whole of it is its name.
  badge(run, { frame, alike, open, beneath }) {
    run.hidden = !alike;
    if (!alike) return;
    const inside = marksBeneath(beneath);
    const said = fill(open ? this.words.open : this.words.stack, { n: alike });
    run.dataset.run = frame.run;
    const shown = inside.length ? String(alike) : fill(this.words.stack, { n: alike });
    run.replaceChildren(shown, ...inside.map(([side, kind]) => sign(side, kind)));
    run.title = [said, ...inside.map(([side, kind]) => this.words[side + kind])].join(", ");
    run.setAttribute("aria-label", run.title);
    run.setAttribute("aria-expanded", String(open));
  }

  cell(frame) {
    let cell = this.cells.get(frame.id);
    if (!cell) {
      cell = document.getElementById("frame-part").content.firstElementChild.cloneNode(true);
      cell.dataset.id = frame.id;
      cell.firstElementChild.dataset.id = frame.id;
      this.cells.set(frame.id, cell);
    }
    // What the cell shows, as a string: redrawn only when that changed.
    const look = this.titles.get(frame.look) ?? "";
    const { small, w, hidden, suggested, changed, marks: marked, flags: raised, label } = frame;
    const sum = JSON.stringify([look, small, w, hidden, suggested, changed, marked, raised, label]);
    if (cell.dataset.sum === sum) return cell;
    cell.dataset.sum = sum;
    const button = cell.firstElementChild;
    const picture = button.querySelector("img");
    picture.width = frame.w;
    picture.height = frame.h;
    cell.style.setProperty("--ratio", ratioOf(frame).toFixed(4));
    if (frame.small && picture.getAttribute("src") !== frame.small) picture.src = frame.small;
    button.querySelector(".label").textContent = frame.label;
    const marks = Object.entries(frame.marks);
    button.querySelector(".marks").replaceChildren(...marks.map(([side, kind]) => sign(side, kind)));
    button.querySelector(".drawings").replaceChildren(
      ...marks.map(([side, kind]) => {
        const drawn = document.createElement("span");
        drawn.className = `drawn ${side === "s" ? "subject" : "representation"} ${kind}`;
        return drawn;
      }),
    );
    const flags = frame.flags.map((flag) => this.words[flag]).join(", ");
    const ours = [suggested ? this.words.suggested : "", changed ? this.words.changed : ""].filter(Boolean).join(", ");
    button.querySelector(".flags").textContent = flags;
    button.querySelector(".flags").title = frame.compared;
    button.querySelector(".ours").textContent = ours;
    const said = marks.map(([side, kind]) => this.words[side + kind]);
    button.setAttribute(
      "aria-label",
      [
        fill(this.words.frame, { label: frame.label }),
        look,
        frame.hidden ? this.words.hidden : "",
        ours,
        flags,
        ...said,
      ]
        .filter(Boolean)
        .join(", "),
    );
    cell.classList.toggle("is-hidden", frame.hidden);
    return cell;
  }

  showChoice(ids) {
    for (const [id, cell] of this.cells) {
      const pressed = String(this.stands(id).some((one) => ids.has(one)));
      if (cell.firstElementChild.getAttribute("aria-pressed") !== pressed)
        cell.firstElementChild.setAttribute("aria-pressed", pressed);
    }
  }

  // --- moving about: one frame is in the tab order, arrows go from there ---

  tabStop() {
    for (const cell of this.place.querySelectorAll(".frame[tabindex='0'], .run[tabindex='0']")) cell.tabIndex = -1;
    const cell = this.cells.get(this.focused);
    if (cell) for (const button of [...cell.children].slice(0, 2)) button.tabIndex = 0;
  }

  focus(id, move = true) {
    this.focused = this.head(id) ?? id;
    this.tabStop();
    if (move) {
      const button = this.cells.get(this.focused)?.firstElementChild;
      button?.focus({ preventScroll: true });
      button?.scrollIntoView({ block: "nearest" });
    }
  }

  // Whether the keyboard is among the frames, or nowhere: then it may be moved along.
  holds() {
    const at = document.activeElement;
    return at.matches(".frame") || !at.matches("button, a, input, select, textarea, summary");
  }

  beside(id, step) {
    return this.order[this.order.indexOf(id) + step];
  }
  end(last) {
    return last ? this.order.at(-1) : this.order[0];
  }

  // The frame above or below, by where it is drawn.
  line(id, down) {
    const here = this.cells.get(id).getBoundingClientRect();
    const index = this.order.indexOf(id);
    const rest = down ? this.order.slice(index + 1) : this.order.slice(0, index).reverse();
    let best = null;
    let row = null;
    for (const other of rest) {
      const box = this.cells.get(other).getBoundingClientRect();
      if (Math.abs(box.top - here.top) < here.height / 2) continue;
      if (row === null) row = box.top;
      else if (Math.abs(box.top - row) > here.height / 2) break;
      const off = Math.abs(box.left - here.left);
      if (best === null || off < best.off) best = { id: other, off };
    }
    return best?.id;
  }

  toggleRun(run, redraw) {
    if (this.openRuns.has(run)) this.openRuns.delete(run);
    else this.openRuns.add(run);
    redraw();
  }

  /** Of each look, the shapes of what is laid while nothing is left out and every stack is closed. */
  whole(stacks) {
    if (!this.state) return [];
    return [...byLook(this.state, () => true).values()]
      .map((frames) => (stacks ? stacked(frames, new Set()) : frames.map(single)))
      .filter((rows) => rows.length)
      .map((rows) => rows.map(({ frame }) => ratioOf(frame)));
  }

  /** `tall`: the height of a picture, in pixels of the page. */
  size(tall) {
    this.place.style.setProperty("--tall", `${tall}px`);
  }
}

const ratioOf = (frame) => frame.w / frame.h;

/** The frames that are kept, in their order, by the id of their look; 0: of none, or of one that is gone. */
function byLook(state, keep) {
  const groups = new Map([...state.looks.map((look) => [look.id, []]), [0, []]]);
  for (const id of state.order) {
    const frame = state.frames.get(id);
    if (keep(frame)) (groups.get(frame.look ?? 0) ?? groups.get(0)).push(frame);
  }
  for (const [look, frames] of groups) groups.set(look, ordered(frames, state.by));
  return groups;
}

// A mark as it is written on an edge: whose, and which.
function sign(side, kind) {
  const mark = document.createElement("span");
  mark.className = `mark ${side}`;
  mark.setAttribute("aria-hidden", "true");
  mark.textContent = `${side.toUpperCase()} ${SIGNS[kind] ?? ""}`;
  return mark;
}
