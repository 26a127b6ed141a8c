// Many frames, one look at each: three heaps, and one press that makes marks of them. Pure: no page, no network.
export const HEAPS = ["yes", "perhaps", "no"];

export class Heaps {
  constructor(ids) {
    this.ids = [...ids];
    this.put = []; // the heap of each, in the order of the frames
  }
  get place() {
    return this.put.length;
  }
  get over() {
    return this.place === this.ids.length;
  }
  get frame() {
    return this.ids[this.place];
  }
  /** Those that come next, for fetching ahead. */
  get coming() {
    return this.ids.slice(this.place + 1, this.place + 3);
  }
  lay(heap) {
    if (!HEAPS.includes(heap)) throw new Error(`there is no heap ${heap}`);
    if (!this.over) this.put.push(heap);
  }
  back() {
    return this.put.pop() !== undefined;
  }
  /** A frame that is there no longer: on no heap, and not asked about. */
  remove(id) {
    const at = this.ids.indexOf(id);
    if (at < 0) return;
    this.ids.splice(at, 1);
    if (at < this.put.length) this.put.splice(at, 1);
  }
  of(heap) {
    return this.ids.filter((_id, at) => this.put[at] === heap);
  }
  /** What one press makes of the heaps: [id, the kind it had, the kind it gets] of every mark that changes. kindOf(id):
      what it has now; strike: the last heap is struck, else it only loses its pick. */
  marks(kindOf, strike = false) {
    const kinds = {
      yes: () => "pick",
      perhaps: () => "alternate",
      no: (now) => (strike || now === "strike" ? "strike" : ""),
    };
    return HEAPS.flatMap((heap) => this.of(heap).map((id) => [id, kindOf(id), kinds[heap](kindOf(id))])).filter(
      ([, before, after]) => before !== after,
    );
  }
}
