import { Choice } from "/static/galleries/js/studio/desk-choice.js";
import { same } from "./checks.js";

const sequence = [5, 3, 9, 1, 7];
function fresh() {
  const told = [];
  const choice = new Choice(() => told.push([...choice.ids]));
  return [choice, told];
}

export default {
  "one is chosen and let go by the same act": () => {
    const [choice, told] = fresh();
    choice.toggle(3);
    choice.toggle(9);
    choice.toggle(3);
    same(told, [[3], [3, 9], [9]]);
  },
  "a reach goes from the last one chosen, in either direction, both ends included": () => {
    const [choice] = fresh();
    choice.toggle(3);
    choice.reach(1, sequence);
    same([...choice.ids].sort(), [1, 3, 9]);
    choice.clear();
    choice.toggle(1);
    choice.reach(3, sequence);
    same([...choice.ids].sort(), [1, 3, 9]);
  },
  "a second reach starts where the first did": () => {
    const [choice] = fresh();
    choice.toggle(9);
    choice.reach(7, sequence);
    choice.reach(5, sequence);
    same([...choice.ids].sort(), [1, 3, 5, 7, 9]);
    same(choice.anchor, 9);
  },
  "without an anchor a reach starts at the frame in focus, or at its end alone": () => {
    const [choice] = fresh();
    choice.reach(9, sequence, 5);
    same([...choice.ids].sort(), [3, 5, 9]);
    const [other] = fresh();
    other.reach(9, sequence);
    same([...other.ids], [9]);
  },
  "frames that are gone are no longer chosen": () => {
    const [choice] = fresh();
    choice.set([5, 3, 9]);
    choice.keep(new Map([[3, {}]]));
    same([...choice.ids], [3]);
  },
  "what a frame stands for is chosen and let go whole": () => {
    const choice = new Choice(
      () => {},
      (id) => (id === 3 ? [3, 4] : [id]),
    );
    choice.toggle(3);
    same([...choice.ids], [3, 4]);
    choice.toggle(4);
    choice.toggle(3);
    same([...choice.ids], [3, 4]);
    choice.toggle(3);
    same([...choice.ids], []);
    choice.toggle(5);
    choice.reach(9, sequence);
    same([...choice.ids], [5, 3, 4, 9]);
  },
  "what was dropped is no anchor for a reach": () => {
    const [choice] = fresh();
    choice.set([5, 3]);
    choice.drop([5]);
    same([...choice.ids], [3]);
    choice.reach(1, sequence, 9);
    same([...choice.ids].sort(), [1, 3, 9]);
  },
};
