import { Ahead, neighbours } from "/static/galleries/js/studio/desk-ahead.js";
import { same } from "./checks.js";

// A loader whose pictures come when the test says so.
function slow() {
  const stopped = [];
  const freed = [];
  const come = {};
  const loading = (address) => {
    const ready = new Promise((good, bad) => {
      come[address] = { good, bad };
    });
    return { picture: address, ready, stop: () => stopped.push(address), free: () => freed.push(address) };
  };
  return { stopped, freed, come, loading };
}
const settled = () => new Promise((go) => setTimeout(go));

export default {
  "two come at once, the first wanted first, and the next when one has come": async () => {
    const { come, loading } = slow();
    const ahead = new Ahead(4, { loading });
    ahead.want(["a", "b", "c"]);
    same(Object.keys(come), ["a", "b"]);
    same(ahead.picture("a"), null);
    come.a.good();
    await settled();
    same(ahead.picture("a"), "a");
    same(Object.keys(come), ["a", "b", "c"]);
  },
  "while it waits nothing new is begun, and nothing is let go": async () => {
    const { come, stopped, loading } = slow();
    const ahead = new Ahead(4, { loading });
    ahead.want(["a", "b", "c"]);
    ahead.wait(true);
    come.a.good();
    await settled();
    same([Object.keys(come), ahead.picture("a"), stopped], [["a", "b"], "a", []]);
    ahead.wait(false);
    same(Object.keys(come), ["a", "b", "c"]);
  },
  "small ones come more at once where that is said": () => {
    const { come, loading } = slow();
    new Ahead(4, { loading, at_once: 3 }).want(["a", "b", "c", "d"]);
    same(Object.keys(come), ["a", "b", "c"]);
  },
  "what is wanted no more is called off and let go, and never more are held than may be": async () => {
    const { come, stopped, freed, loading } = slow();
    const ahead = new Ahead(2, { loading });
    ahead.want(["a", "b", "c"]);
    come.a.good();
    await settled();
    same([...ahead.held.keys()], ["a", "b"]);
    ahead.want(["b", "d"]);
    same([...ahead.held.keys()], ["b", "d"]);
    same([stopped, freed], [[], ["a"]]); // "a" had come
    ahead.want(["e"]);
    same(stopped, ["b", "d"]);
    same([...ahead.held.keys()], ["e"]);
  },
  "one waits for a picture, and gets none that failed or was let go": async () => {
    const { come, loading } = slow();
    const ahead = new Ahead(3, { loading });
    ahead.want(["a", "b"]);
    const [first, second] = [ahead.when("a"), ahead.when("b")];
    come.a.good();
    come.b.bad(new Error("gone"));
    same([await first, await second], ["a", null]);
    ahead.want(["c"]);
    const third = ahead.when("c");
    ahead.want([]);
    come.c.good();
    same([await third, await ahead.when("never")], [null, null]);
  },
  "neighbours lie in the direction of travel, with one behind": () => {
    same(neighbours([1, 2, 3, 4, 5, 6, 7], 2, 1, 3), [3, 4, 5, 2, 6]);
    same(neighbours([1, 2, 3, 4, 5, 6, 7], 2, -1, 3), [3, 2, 1, 4]);
    same(neighbours([1], 0, 1, 3), [1]);
  },
};
