// What stands in a picture: the sheet's small file at once, then the middle one, which fills most screens; the large
// one only for whoever stays, or comes close, and where the screen has pixels for it. Nothing is fetched for frames
// that are passed by, except the next ones on the way.
const REST = 250, // ms on one frame: the person stays
  MOST = 12e6, // pixels held ready, some 48 MB drawn
  ENOUGH = 1.15; // times that a picture may be stretched before it looks soft

const nothing = () => {};
function opened(src, ahead) {
  const image = new Image();
  image.fetchPriority = ahead ? "low" : "high";
  image.src = src;
  return image;
}

/** Pictures that were fetched, each once; those that were wanted longest ago go first. */
export class Held {
  constructor(open = opened) {
    this.open = open;
    this.images = new Map();
  }
  /** The picture, if it is there in full. */
  ready(src) {
    const image = this.images.get(src);
    return image?.complete && image.naturalWidth ? image : null;
  }
  async load(src, ahead = false) {
    const before = this.images.get(src),
      image = before ?? this.open(src, ahead);
    this.images.delete(src);
    this.images.set(src, image);
    try {
      await image.decode();
    } catch (error) {
      if (this.images.get(src) === image) this.images.delete(src);
      throw error;
    }
    this.letGo();
    return image;
  }
  letGo() {
    const size = (image) => (image.naturalWidth || 0) * (image.naturalHeight || 0);
    let pixels = [...this.images.values()].reduce((sum, image) => sum + size(image), 0);
    for (const [src, image] of this.images) {
      if (pixels <= MOST) return;
      if (!image.complete) continue;
      this.images.delete(src);
      pixels -= size(image);
    }
  }
  /** What is still on its way to no use is called back, so that it takes nothing from what is wanted. */
  want(sources) {
    for (const [src, image] of this.images) {
      if (image.complete || sources.includes(src)) continue;
      this.images.delete(src);
      image.src = "";
    }
  }
}

export class Sharpening {
  /** show(src): into the picture, "" for nothing yet; stretch(image): how many pixels of the screen to one of this
      picture; poor(): only the small one could be had; busy(on): does anything of this still come? rest: ms */
  constructor(held, { show, stretch, poor = nothing, busy = nothing, rest = REST }) {
    Object.assign(this, { held, show, stretch, poor, busy, rest, turn: 0, works: 0 });
  }
  /** Some of this turn's pictures are to come: until `end`, or another turn. */
  begin() {
    this.works += 1;
    if (this.works === 1) this.busy(true);
    return this.turn;
  }
  end(turn) {
    if (turn !== this.turn) return;
    this.works -= 1;
    if (!this.works) this.busy(false);
  }
  /** frame: its addresses {small, middle, large}, middle null where it has none; there: is the small one loaded?
      ahead: the frames that come next, the likeliest first */
  async open(frame, { there = false, ahead = [] } = {}) {
    this.turn += 1;
    this.works = 0;
    const turn = this.begin();
    try {
      await this.come(turn, frame, { there, ahead });
    } finally {
      this.end(turn);
    }
  }
  async come(turn, frame, { there, ahead }) {
    const stays = () => turn === this.turn,
      rested = new Promise((done) => setTimeout(done, this.rest));
    const first = (one) => one.middle ?? one.large;
    this.frame = frame;
    this.asked = false;
    const best = [frame.large, first(frame)].find((src) => this.held.ready(src));
    this.held.want([first(frame), ...(best ? ahead.map(first) : [])]); // until it is there, nothing comes beside it
    this.show(best ?? (there ? frame.small : ""));
    if (!best) {
      try {
        await this.held.load(first(frame));
      } catch {
        if (!stays()) return;
        if (!there) this.show(frame.small);
        this.poor();
        return;
      }
      if (!stays()) return;
      if (!frame.middle || !this.held.ready(frame.large)) this.show(first(frame));
    }
    const [next, ...later] = ahead;
    if (next) await this.held.load(first(next), true).catch(nothing);
    await rested;
    if (!stays()) return;
    if (this.soft()) await this.closer();
    for (const one of later) {
      if (!stays()) return;
      await this.held.load(first(one), true).catch(nothing);
    }
  }
  /** Is the picture that stands there stretched further than it looks well? */
  soft() {
    const { middle } = this.frame ?? {},
      image = middle && this.held.ready(middle);
    return Boolean(image) && this.stretch(image) > ENOUGH;
  }
  /** The large one, at once: the person came close, or stays. */
  async closer() {
    const { turn, frame } = this;
    if (!frame?.middle || this.asked) return true;
    this.asked = true;
    this.begin();
    try {
      await this.held.load(frame.large);
    } catch {
      if (turn === this.turn) this.asked = false;
      return false;
    } finally {
      this.end(turn);
    }
    if (turn === this.turn) this.show(frame.large);
    return true;
  }
  close() {
    this.turn += 1;
    this.works = 0;
    this.frame = null;
    this.held.want([]);
    this.busy(false);
  }
}
