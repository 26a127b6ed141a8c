// Pictures fetched and decoded before they are asked for. Never more than `most` are held, so memory is bounded by that
// many pictures; those that are wanted no longer go, and what of them is still on its way is called off.
const AT_ONCE = 2; // of large ones: the line's width is their limit

function load(address) {
  const picture = new Image();
  picture.fetchPriority = "high"; // before the many of the strips behind, which may be on their way already
  picture.src = address;
  return { picture, ready: picture.decode(), stop: () => picture.removeAttribute("src") };
}

export class Ahead {
  constructor(most, { loading = load, at_once = AT_ONCE } = {}) {
    Object.assign(this, { most, loading, at_once });
    this.held = new Map();
    this.wanted = [];
    this.waiting = false;
  }

  /** `addresses`, what is needed first in front; the same again changes nothing. */
  want(addresses) {
    this.wanted = [...new Set(addresses)].slice(0, this.most);
    for (const [address, one] of this.held)
      if (!this.wanted.includes(address)) {
        this.held.delete(address);
        if (one.done) one.free?.();
        else one.stop();
      }
    this.go();
  }

  /** While it waits nothing new is begun: what is held stays, and what is on its way comes. */
  wait(waiting) {
    this.waiting = waiting;
    this.go();
  }

  go() {
    if (this.waiting) return;
    let under_way = [...this.held.values()].filter((one) => !one.done && !one.failed).length;
    for (const address of this.wanted) {
      if (under_way >= this.at_once) return;
      if (this.held.has(address)) continue;
      under_way += 1;
      const one = this.loading(address);
      this.held.set(address, one);
      one.ready.then(
        () => this.settle(one, "done"),
        () => this.settle(one, "failed"),
      );
    }
  }

  settle(one, how) {
    one[how] = true;
    this.go();
  }

  /** The decoded picture, or null while it is not there. */
  picture(address) {
    const one = this.held.get(address);
    return one?.done ? one.picture : null;
  }

  /** Resolves to the picture once it is decoded; to null when it cannot be had, or is wanted no more by then. */
  async when(address) {
    const one = this.held.get(address);
    if (!one) return null;
    await one.ready.catch(() => {});
    return this.held.get(address) === one ? this.picture(address) : null;
  }
}

/** The frames to have ready at `at`, the nearest in the direction of travel first and one behind. */
export function neighbours(order, at, step, ahead) {
  const ids = [order[at]];
  for (let far = 1; far <= ahead; far += 1) ids.push(order[at + far * step]);
  ids.splice(3, 0, order[at - step]);
  return ids.filter((id) => id !== undefined);
}
