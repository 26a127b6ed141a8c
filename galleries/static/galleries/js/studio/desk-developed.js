// The eyes of some raw frames at 100 % are developed by the worker when somebody asks for them. Until then their
// address gives a smaller picture of the same place, and says so by its status (202).
import { Answered, pause, reach } from "../shared/net.js";

const EVERY = 1000; // ms; developing takes some seconds
const ACCEPTED = 202;

export class Developed {
  /** `asking`: the status at an address; `waiting`: a while between two questions. */
  constructor(asking = status, waiting = () => pause(EVERY)) {
    Object.assign(this, { asking, waiting });
    this.sharp = new Set();
  }

  /** What to draw now: the address itself once the sharp picture is there, or where nothing has to be developed. */
  now(frame, address) {
    return this.waits(frame) ? `${address}?smaller` : address;
  }

  waits(frame) {
    return Boolean(frame.sensor) && !this.sharp.has(frame.id);
  }

  /** True once the sharp picture is there; false when `wanted()` no longer holds. Raises Answered, Unreached. */
  async when(frame, address, wanted) {
    while (wanted()) {
      const answer = await this.asking(address);
      if (answer >= 400) throw new Answered(answer);
      if (answer !== ACCEPTED) {
        this.sharp.add(frame.id);
        return wanted();
      }
      await this.waiting();
    }
    return false;
  }
}

const status = async (address) => (await reach(address, { method: "HEAD" })).status;
