import { Developed } from "/static/galleries/js/studio/desk-developed.js";
import { same } from "./checks.js";

const RAW = { id: 7, sensor: true };

function answering(...statuses) {
  const asked = [];
  const asking = async (address) => {
    asked.push(address);
    return statuses.shift();
  };
  return { asked, developed: new Developed(asking, async () => {}) };
}

export default {
  "a frame with nothing to develop is drawn from its address": () => {
    same(new Developed().now({ id: 1 }, "/7.jpg"), "/7.jpg");
  },
  "a smaller picture stands until the sharp one is there": async () => {
    const { asked, developed } = answering(202, 202, 200);
    same(developed.now(RAW, "/7.jpg"), "/7.jpg?smaller");
    same(await developed.when(RAW, "/7.jpg", () => true), true);
    same(asked.length, 3);
    same(developed.now(RAW, "/7.jpg"), "/7.jpg");
    same(developed.waits({ id: 8, sensor: true }), true);
  },
  "nobody asks on for what is wanted no more": async () => {
    const { asked, developed } = answering(202, 202, 202);
    same(await developed.when(RAW, "/7.jpg", () => asked.length < 2), false);
    same(asked.length, 2);
  },
  "a refusal ends it": async () => {
    const { developed } = answering(409);
    const refused = await developed.when(RAW, "/7.jpg", () => true).catch((error) => error.status);
    same(refused, 409);
    same(developed.waits(RAW), true);
  },
};
