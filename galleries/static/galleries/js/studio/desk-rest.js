// When large files are asked for: once a frame has been rested on. A key held down rests nowhere, however slowly a busy
// machine repeats it: their bytes and their decoding would stand in the way of the small pictures that are passing.
export const RESTING = 90; // ms on a frame before large files are asked for

export class Rest {
  constructor(ms, later = (work, after) => setTimeout(work, after), call_off = (timer) => clearTimeout(timer)) {
    Object.assign(this, { ms, later, call_off, work: null, timer: 0, held: false });
  }

  /** `work` after a rest, in place of what waited. */
  after(work) {
    this.work = work;
    this.start();
  }

  /** A key went down: again, while it is held, or anew. */
  key(repeats) {
    this.held = repeats;
    if (repeats) this.call_off(this.timer);
  }

  let_go() {
    if (!this.held) return;
    this.held = false;
    this.start();
  }

  end() {
    this.call_off(this.timer);
    Object.assign(this, { work: null, held: false });
  }

  start() {
    this.call_off(this.timer);
    if (this.held || !this.work) return;
    this.timer = this.later(() => {
      const { work } = this;
      this.work = null;
      work();
    }, this.ms);
  }
}
