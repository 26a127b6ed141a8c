// A knock-out that ends in an order, with few presses: the two frames that have beaten the fewest meet first, whoever
// loses is remembered under the winner, and the next place is fought out only among those who lost to nobody else.
// Of n frames, two at a time, it never takes more than n·log2(n) presses. Pure: no page, no network.
export class Knockout {
  constructor(ids, many = 2) {
    this.many = many;
    this.pool = [...ids]; // still in for the next place
    this.losers = new Map(this.pool.map((id) => [id, []])); // winner -> whom it beat, in the order they were shown
    this.placed = [];
    this.round = 1;
    this.past = [];
    this.settle();
  }
  get over() {
    return this.pool.length === 0;
  }
  get left() {
    return this.losers.size - this.placed.length;
  }
  get place() {
    return this.placed.length + 1;
  }
  /** How many presses are left at most, two at a time: what n·log2(n) leaves of those that were made, or every pair
      still in, whichever is less. */
  get presses() {
    const { left } = this,
      most = Math.floor(this.losers.size * Math.log2(Math.max(1, this.losers.size))) - (this.round - 1);
    return this.over ? 0 : Math.max(1, Math.min(most, (left * (left - 1)) / 2));
  }
  /** The frames of this round: those that have beaten the fewest, so that no long way is gone alone. */
  get shown() {
    const beaten = new Map(this.pool.map((id) => [id, this.weight(id)]));
    return [...this.pool].sort((a, b) => beaten.get(a) - beaten.get(b)).slice(0, this.many);
  }
  /** Those who may come in the round after, for fetching ahead. */
  get coming() {
    const { shown } = this;
    return this.pool.filter((id) => !shown.includes(id)).slice(0, this.many);
  }
  weight(id) {
    return 1 + this.losers.get(id).reduce((sum, other) => sum + this.weight(other), 0);
  }
  keep(id) {
    const shown = this.shown;
    if (!shown.includes(id)) throw new Error(`${id} is not in this round`);
    this.remember();
    this.losers.set(id, [...this.losers.get(id), ...shown.filter((other) => other !== id)]);
    this.pool = [...this.pool.filter((other) => !shown.includes(other)), id];
    this.round += 1;
    this.settle();
  }
  /** A frame that is out of the question: those it beat take its place. */
  leave(id) {
    if (!this.losers.has(id) || this.placed.includes(id)) return;
    this.remember();
    const instead = (list) => list.flatMap((one) => (one === id ? this.losers.get(id) : [one]));
    this.pool = instead(this.pool);
    const rest = [...this.losers].filter(([one]) => one !== id).map(([one, beaten]) => [one, instead(beaten)]);
    this.losers = new Map(rest);
    this.settle();
  }
  /** A frame that is there no longer: out of the question, out of the order, and no undo brings it back. */
  remove(id) {
    const { past } = this;
    this.past = [];
    const states = [...past, { pool: this.pool, losers: this.losers, placed: this.placed, round: this.round }].map(
      (state) => {
        Object.assign(this, state);
        this.placed = this.placed.filter((one) => one !== id);
        if (state.placed.includes(id)) this.losers = new Map([...this.losers].filter(([one]) => one !== id));
        else this.leave(id);
        this.settle();
        return { pool: this.pool, losers: this.losers, placed: this.placed, round: this.round };
      },
    );
    Object.assign(this, states.pop());
    // A question that is none any more, and one that was asked twice so, is not led back to.
    const asked = ({ pool }) => pool.length > 1;
    this.past = states.filter(asked);
  }
  remember() {
    this.past.push(structuredClone({ pool: this.pool, losers: this.losers, placed: this.placed, round: this.round }));
  }
  settle() {
    while (this.pool.length === 1) {
      const [winner] = this.pool;
      this.placed.push(winner);
      this.pool = this.losers.get(winner);
    }
  }
  back() {
    if (!this.past.length) return false;
    Object.assign(this, this.past.pop());
    return true;
  }
  /** The order so far: placed ones, then who is still in, those that beat more before, then who lost to them. */
  get order() {
    const order = [...this.placed],
      queue = [...this.pool].sort((a, b) => this.weight(b) - this.weight(a));
    while (queue.length) {
      const id = queue.shift();
      if (order.includes(id)) continue;
      order.push(id);
      queue.push(...this.losers.get(id));
    }
    return order;
  }
}
