// Draws the strips: one part per look, one cell per frame. A cell is made once and moved, never made anew,
// so that an act on one frame of a thousand costs the few cells it touches.
import { fill } from "../shared/dom.js";

const SIGNS = { pick: "○", alternate: "[ ]", strike: "╱" };

export class Strips {
  constructor(place, words, to, choice) {
    Object.assign(this, { place, words, to, choice });
    this.cells = new Map();
    this.parts = new Map();
    this.openRuns = new Set();
    this.order = [];
    this.focused = null;
    this.state = null;
  }

  part(look) {
    return this.parts.get(look);
  }
  sequence() {
    return this.order;
  }
  inOrder(ids) {
    const set = new Set(ids);
    return this.order.filter((id) => set.has(id));
  }
  first(ids) {
    return this.inOrder(ids)[0] ?? ids[0];
  }

  draw(state, { filter, stacked }) {
    const held = this.place.contains(document.activeElement) && document.activeElement.matches(".frame");
    this.state = state;
    this.titles = new Map(state.looks.map((look) => [look.id, look.title]));
    const groups = new Map(state.looks.map((look) => [look.id, []]));
    groups.set(0, []);
    for (const id of state.order) {
      const frame = state.frames.get(id);
      if (passes(frame, filter)) (groups.get(frame.look ?? 0) ?? groups.get(0)).push(frame);
    }
    this.order = [];
    const wanted = [];
    for (const look of [
      ...state.looks,
      { id: 0, title: this.words.unsorted, reason: "", purpose: "", hidden: false },
    ]) {
      const frames = groups.get(look.id);
      if (!look.id && !frames.length) continue;
      wanted.push(this.drawLook(look, frames, stacked && !filter));
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
    if (!this.order.includes(this.focused)) this.focused = this.order[0] ?? null;
    this.tabStop();
    if (held && !this.place.contains(document.activeElement)) this.focus(this.focused);
  }

  drawLook(look, frames, stacked) {
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
    part.querySelector(".proposed").hidden = !look.reason;
    part.querySelector(".why").textContent = fill(this.words.proposed, { why: look.reason });
    part.querySelector("[data-look-do='hide look']").textContent = look.hidden
      ? this.words.showlook
      : this.words.hidelook;
    const title = part.querySelector("[name=title]");
    if (document.activeElement !== title) title.value = look.title;
    const into = part.querySelector(".into");
    into.replaceChildren(
      ...this.state.looks.filter((one) => one.id !== look.id).map((one) => new Option(one.title, one.id)),
    );
    this.lay(
      part.querySelector(".frames"),
      stacked ? this.stack(frames) : frames.map((frame) => ({ frame, alike: 0 })),
    );
    return part;
  }

  // A run shows its best frame until it is opened; the frames beneath lie beside it then, best first.
  stack(frames) {
    const runs = new Map();
    for (const frame of frames) if (frame.run !== null) runs.set(frame.run, [...(runs.get(frame.run) ?? []), frame]);
    const shown = [];
    const done = new Set();
    for (const frame of frames) {
      const run = frame.run === null ? [frame] : runs.get(frame.run);
      if (run.length < 2) {
        shown.push({ frame, alike: 0 });
        continue;
      }
      if (done.has(frame.run)) continue;
      done.add(frame.run);
      const best = [...run].sort((a, b) => a.hidden - b.hidden || a.place - b.place);
      const open = this.openRuns.has(frame.run);
      const laid = open ? best : best.slice(0, 1);
      laid.forEach((one, index) => {
        shown.push({ frame: one, alike: index ? 0 : run.length, open });
      });
    }
    return shown;
  }

  lay(list, rows) {
    // Those that leave go first, so that the rest stay where they are: a moved element would lose the focus.
    const staying = new Set(rows.map(({ frame }) => String(frame.id)));
    for (const cell of [...list.children]) if (!staying.has(cell.dataset.id)) cell.remove();
    let at = list.firstElementChild;
    for (const { frame, alike, open } of rows) {
      const cell = this.cell(frame);
      const run = cell.lastElementChild;
      run.hidden = !alike;
      if (alike) {
        run.dataset.run = frame.run;
        run.textContent = fill(open ? this.words.open : this.words.stack, { n: alike });
        run.setAttribute("aria-expanded", String(Boolean(open)));
      }
      if (cell === at) at = at.nextElementSibling;
      else list.insertBefore(cell, at);
      this.order.push(frame.id);
    }
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
    const sum = JSON.stringify([look, frame.small, frame.hidden, frame.marks, frame.flags, frame.label]);
    if (cell.dataset.sum === sum) return cell;
    cell.dataset.sum = sum;
    const button = cell.firstElementChild;
    const picture = button.querySelector("img");
    picture.width = frame.w;
    picture.height = frame.h;
    if (frame.small && picture.getAttribute("src") !== frame.small) picture.src = frame.small;
    button.querySelector(".label").textContent = frame.label;
    const marks = Object.entries(frame.marks).map(([side, kind]) => {
      const mark = document.createElement("span");
      mark.className = `mark ${side}`;
      mark.setAttribute("aria-hidden", "true");
      mark.textContent = `${side.toUpperCase()} ${SIGNS[kind] ?? ""}`;
      return mark;
    });
    button.querySelector(".marks").replaceChildren(...marks);
    button.querySelector(".drawings").style.aspectRatio = `${frame.w} / ${frame.h}`;
    button.querySelector(".drawings").replaceChildren(
      ...Object.entries(frame.marks).map(([side, kind]) => {
        const drawn = document.createElement("span");
        drawn.className = `drawn ${side === "s" ? "subject" : "representation"} ${kind}`;
        return drawn;
      }),
    );
    const flags = frame.flags.map((flag) => this.words[flag]).join(", ");
    button.querySelector(".flags").textContent = flags;
    const said = Object.entries(frame.marks).map(([side, kind]) => this.words[side + kind]);
    button.setAttribute(
      "aria-label",
      [fill(this.words.frame, { label: frame.label }), look, frame.hidden ? this.words.hidden : "", flags, ...said]
        .filter(Boolean)
        .join(", "),
    );
    cell.classList.toggle("is-hidden", frame.hidden);
    return cell;
  }

  showChoice(ids) {
    for (const [id, cell] of this.cells) {
      const pressed = String(ids.has(id));
      if (cell.firstElementChild.getAttribute("aria-pressed") !== pressed)
        cell.firstElementChild.setAttribute("aria-pressed", pressed);
    }
  }

  // --- moving about: one frame is in the tab order, arrows go from there ---

  tabStop() {
    for (const cell of this.place.querySelectorAll(".frame[tabindex='0'], .run[tabindex='0']")) cell.tabIndex = -1;
    const cell = this.cells.get(this.focused);
    if (cell) for (const button of cell.children) button.tabIndex = 0;
  }

  focus(id, move = true) {
    this.focused = id;
    this.tabStop();
    if (move) {
      const button = this.cells.get(id)?.firstElementChild;
      button?.focus({ preventScroll: true });
      button?.scrollIntoView({ block: "nearest" });
    }
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

  size(pixels) {
    this.place.style.setProperty("--cell", `${pixels}px`);
    this.place.style.setProperty("--cell-tall", `${Math.round(pixels * 1.28 + 34)}px`);
  }
}

function passes(frame, filter) {
  if (!filter) return true;
  if (filter === "hidden") return frame.hidden;
  if (filter === "unmarked") return !Object.keys(frame.marks).length && !frame.hidden;
  return frame.flags.includes(filter);
}
