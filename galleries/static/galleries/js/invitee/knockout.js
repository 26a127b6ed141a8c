// A knock-out that ends in an order. Whoever wins a round stays; whoever loses is remembered under the winner, so the
// next place is fought out only among those who lost to nobody else. Pure: no page, no network.
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
  /** The frames of this round: the one that stays first, then challengers. */
  get shown() {
    return this.pool.slice(0, this.many);
  }
  keep(id) {
    const shown = this.shown;
    if (!shown.includes(id)) throw new Error(`${id} is not in this round`);
    this.past.push(structuredClone({ pool: this.pool, losers: this.losers, placed: this.placed, round: this.round }));
    this.losers.set(id, [...this.losers.get(id), ...shown.filter((other) => other !== id)]);
    this.pool = [id, ...this.pool.slice(shown.length)];
    this.round += 1;
    this.settle();
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
  /** The order so far: placed ones, then who is still in, then who lost to them, as far as it is known. */
  get order() {
    const order = [...this.placed],
      queue = [...this.pool];
    while (queue.length) {
      const id = queue.shift();
      if (order.includes(id)) continue;
      order.push(id);
      queue.push(...this.losers.get(id));
    }
    return order;
  }
}
