import { Rest } from "/static/galleries/js/studio/desk-rest.js";
import { same } from "./checks.js";

/** A clock of its own: what is due runs when it is moved on. */
function timed() {
  const clock = { now: 0, due: new Map(), next: 1, done: [] };
  const later = (work, after) => {
    clock.due.set(clock.next, [clock.now + after, work]);
    return clock.next++;
  };
  clock.rest = new Rest(90, later, (timer) => clock.due.delete(timer));
  clock.pass = (ms) => {
    clock.now += ms;
    for (const [timer, [at, work]] of [...clock.due])
      if (at <= clock.now) {
        clock.due.delete(timer);
        work();
      }
  };
  clock.lay = (name, repeats) => {
    clock.rest.key(repeats);
    clock.rest.after(() => clock.done.push(name));
  };
  return clock;
}

export default {
  "what is rested on is asked for, once"() {
    const clock = timed();
    clock.lay("a", false);
    clock.pass(89);
    same(clock.done, []);
    clock.pass(1);
    clock.pass(500);
    same(clock.done, ["a"]);
  },

  "frames stepped through quickly leave the last"() {
    const clock = timed();
    for (const name of ["a", "b", "c"]) {
      clock.lay(name, false);
      clock.pass(60);
    }
    clock.pass(90);
    same(clock.done, ["c"]);
  },

  "a held key rests nowhere, however slowly it repeats, until it is let go"() {
    const clock = timed();
    clock.lay("a", false);
    for (const name of ["b", "c", "d"]) {
      clock.lay(name, true);
      clock.pass(400);
    }
    same(clock.done, []);
    clock.rest.let_go();
    clock.pass(90);
    same(clock.done, ["d"]);
    clock.rest.let_go();
    clock.pass(90);
    same(clock.done, ["d"]);
  },

  "closed while it is held, nothing is asked for"() {
    const clock = timed();
    clock.lay("a", true);
    clock.rest.end();
    clock.rest.let_go();
    clock.pass(500);
    same(clock.done, []);
  },
};
