import { Knockout } from "/static/galleries/js/invitee/knockout.js";
import { holds, raised, same } from "./checks.js";

function orders(ids) {
  if (ids.length < 2) return [ids];
  return ids.flatMap((one) => orders(ids.filter((other) => other !== one)).map((rest) => [one, ...rest]));
}
/** Plays to the end as somebody would who always likes the same frames better; returns the number of rounds. */
function play(game, liking) {
  let rounds = 0;
  while (!game.over) {
    game.keep(liking.find((id) => game.shown.includes(id)));
    rounds += 1;
  }
  return rounds;
}

export default {
  "whoever knows what they like gets that order, two, three or four at a time": () => {
    for (const many of [2, 3, 4])
      for (const liking of orders([1, 2, 3, 4, 5])) {
        const game = new Knockout([1, 2, 3, 4, 5], many);
        play(game, liking);
        same(game.order, liking, `the order by ${liking}, ${many} at a time`);
        same(game.placed, liking);
        same(game.left, 0);
      }
  },
  "no pair is asked twice": () => {
    for (const liking of orders([1, 2, 3, 4, 5])) {
      const game = new Knockout([1, 2, 3, 4, 5]);
      const asked = new Set();
      while (!game.over) {
        const pair = [...game.shown].sort().join(" and ");
        holds(!asked.has(pair), `${pair} are asked once`);
        asked.add(pair);
        game.keep(liking.find((id) => game.shown.includes(id)));
      }
    }
  },
  "those who have beaten the fewest meet first": () => {
    const game = new Knockout([1, 2, 3, 4]);
    same(game.shown, [1, 2]);
    same(game.coming, [3, 4]);
    game.keep(2);
    same(game.shown, [3, 4]);
    same(game.round, 2);
    same(game.place, 1);
  },
  "it takes at most n·log2(n) presses, and says truly how many are left at most": () => {
    const likings = orders([1, 2, 3, 4, 5, 6]);
    for (let n = 7; n <= 64; n += 19)
      likings.push(
        Array.from({ length: n }, (_, i) => i + 1),
        Array.from({ length: n }, (_, i) => n - i),
        Array.from({ length: n }, (_, i) => ((i * 29) % 67) + i / 100),
      );
    for (const liking of likings) {
      const game = new Knockout([...liking].sort((a, b) => a - b));
      let made = 0;
      const said = [];
      while (!game.over) {
        said.push([made, game.presses]);
        game.keep(liking.find((id) => game.shown.includes(id)));
        made += 1;
      }
      holds(made <= liking.length * Math.log2(liking.length), `${made} presses for ${liking.length}`);
      for (const [before, left] of said) holds(made - before <= left, `${left} said, ${made - before} were needed`);
      same(game.presses, 0);
    }
  },
  "a frame that leaves makes room for those it beat, and can be brought back": () => {
    const game = new Knockout([1, 2, 3, 4]);
    game.keep(2);
    game.keep(3);
    const before = structuredClone([game.shown, game.order]);
    game.leave(2);
    same([...game.order].sort(), [1, 3, 4]);
    same(game.left, 3);
    game.back();
    same([game.shown, game.order], before);
    game.leave(99);
    same([game.shown, game.order], before);
  },
  "a step back brings the round before, and can be taken until the first": () => {
    const game = new Knockout([1, 2, 3, 4]);
    same(game.back(), false);
    const seen = [];
    for (const turn of [1, 2, 3]) {
      const id = game.shown[turn % 2];
      seen.push(structuredClone([game.shown, game.round, game.order, game.placed]));
      game.keep(id);
    }
    while (seen.length) {
      same(game.back(), true);
      same([game.shown, game.round, game.order, game.placed], seen.pop());
    }
    same(game.back(), false);
  },
  "stopped in the middle, everybody is in the order once, winners before those they beat": () => {
    const game = new Knockout([1, 2, 3, 4, 5]);
    game.keep(2);
    game.keep(3);
    same([...game.order].sort(), [1, 2, 3, 4, 5]);
    holds(game.order.indexOf(3) < game.order.indexOf(4), "3 beat 4");
    holds(game.order.indexOf(2) < game.order.indexOf(1), "2 beat 1");
  },
  "a frame that is not shown cannot be kept": async () => {
    const game = new Knockout([1, 2, 3]);
    same((await raised(() => game.keep(3))).message, "3 is not in this round");
    same(game.round, 1);
  },
  "one alone is placed at once": () => {
    const game = new Knockout([7]);
    same([game.over, game.order], [true, [7]]);
  },
  "a frame that is there no longer is neither asked about, nor in the order, nor brought back": () => {
    for (const gone of [1, 2, 3, 4, 5])
      for (const liking of orders([1, 2, 3, 4, 5]))
        for (let after = 0; after < 5; after += 1) {
          const game = new Knockout([1, 2, 3, 4, 5]);
          for (let round = 0; round < after && !game.over; round += 1)
            game.keep(liking.find((id) => game.shown.includes(id)));
          game.remove(gone);
          const stays = liking.filter((id) => id !== gone);
          same([...game.order].sort(), [...stays].sort(), `${gone} after ${after} of ${liking}`);
          do {
            holds(!game.shown.includes(gone) && !game.order.includes(gone), `${gone} is not led back to`);
            holds(game.over || game.shown.length > 1, "there is a question, or none");
          } while (game.back());
          play(game, stays);
          same(game.order, stays, `without ${gone}`);
        }
  },
};
