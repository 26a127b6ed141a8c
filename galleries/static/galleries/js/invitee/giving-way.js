// What the sheet asked for and has not got gives way while a frame is large, and is asked for again after it: on a thin
// line a dozen small pictures, begun by a scroll, would take more time than the one that a person wants to see.
const AT_ONCE = 2; // that come under the large view, once its own are there: so little is lost if they give way again

export class GivingWay {
  /** near(picture): lets one come; first: those that come by themselves */
  constructor(near, first = []) {
    this.near = near;
    this.asked = new Set(first);
    this.back = new Map(); // pictures that gave way, with their addresses; null for one that was not asked for yet
    this.gives = false;
    this.turn = new AbortController();
  }
  ask(picture) {
    if (this.gives) {
      this.back.set(picture, null);
      return;
    }
    this.near(picture);
    this.asked.add(picture);
  }
  /** A picture without an address is called off, and tells of no `error` (HTML, "update the image data"). Returns the
      addresses of those that were on their way. */
  give() {
    this.gives = true;
    this.turn.abort();
    const waiting = [...this.back];
    this.back.clear();
    for (const picture of this.asked) {
      const address = picture.getAttribute("src");
      if (picture.complete || !address) continue;
      picture.removeAttribute("src");
      this.back.set(picture, address);
    }
    this.asked.clear(); // what has come is looked at no more
    const called = [...this.back.values()];
    for (const [picture, address] of waiting) this.back.set(picture, address);
    return called;
  }
  /** all: they are seen now; else a few, and more as those come */
  take(all = true) {
    this.turn.abort();
    this.turn = new AbortController();
    this.gives = false;
    if (all) for (const one of [...this.back]) this.again(...one);
    else for (const one of [...this.back].slice(0, AT_ONCE)) this.inTurn(...one);
  }
  again(picture, address) {
    this.back.delete(picture);
    this.ask(picture);
    if (address === null) return;
    picture.loading = "eager"; // under the large view nothing comes near
    picture.src = address;
  }
  inTurn(picture, address) {
    const { signal } = this.turn;
    const next = () => {
      if (signal.aborted) return;
      const [one] = this.back;
      if (one) this.inTurn(...one);
    };
    this.again(picture, address);
    if (address === null) {
      next();
      return;
    }
    for (const end of ["load", "error"]) picture.addEventListener(end, next, { once: true, signal });
  }
}
