import { fill } from "/static/galleries/js/shared/dom.js";
import {
  Answered,
  ask,
  lasting,
  now,
  post,
  sentenceOf,
  setClock,
  shut,
  Unreached,
  withRetry,
} from "/static/galleries/js/shared/net.js";
import { away, holds, json, network, page, raised, same } from "./checks.js";

const words = { failed: "nobody answered", out: "signed out" };
const kind = (error) => [error.constructor.name, error.status, lasting(error), shut(error), sentenceOf(error, words)];

export default {
  "JSON comes back, nothing new is null": async () => {
    network(json({ change: 3 }), new Response(null, { status: 204 }));
    same(await ask("/a"), { change: 3 });
    same(await ask("/a"), null);
  },
  "what changes something carries the token, what only looks does not": async () => {
    document.body.innerHTML = '<input type="hidden" name="csrfmiddlewaretoken" value="from the page">';
    const asked = network(() => json({}));
    await ask("/a");
    await post("/b", { n: 1 });
    const form = new FormData();
    await ask("/c", { method: "POST", form });
    same(
      asked.map(({ headers }) => headers["X-CSRFToken"]),
      [undefined, "from the page", "from the page"],
    );
    same([asked[1].body, asked[1].headers["Content-Type"]], ['{"n":1}', "application/json"]);
    holds(asked[2].body === form && !("Content-Type" in asked[2].headers), "a form names its own boundary");
    holds(
      asked.every(({ credentials }) => credentials === "same-origin"),
      "nothing of ours goes elsewhere",
    );
  },
  "no network, a server in trouble, a refusal and a shut door are told apart": async () => {
    network(
      away(),
      page(502),
      json({ error: "The disk is full." }, 507),
      json({ error: "Too often." }, 429),
      json({ error: "The list is closed." }, 409),
      page(403),
      json({ error: "No such sitting." }, 404),
    );
    const seen = [];
    for (let turn = 0; turn < 7; turn += 1) seen.push(kind(await raised(() => ask("/a"))));
    same(seen, [
      ["Unreached", undefined, false, false, "nobody answered"],
      ["Answered", 502, false, false, "nobody answered"],
      ["Answered", 507, false, false, "The disk is full."],
      ["Answered", 429, false, false, "Too often."],
      ["Answered", 409, true, false, "The list is closed."],
      ["Answered", 403, true, true, "signed out"],
      ["Answered", 404, true, true, "No such sitting."],
    ]);
  },
  "a page in place of JSON: led to the entrance is a shut door, half an answer is a bad line": async () => {
    const entrance = Object.defineProperty(page(), "redirected", { value: true });
    network(entrance, new Response('{"change": ', { headers: { "Content-Type": "application/json" } }));
    same(kind(await raised(() => ask("/a"))), ["Answered", 403, true, true, "signed out"]);
    holds((await raised(() => ask("/a"))) instanceof Unreached, "half an answer may be asked for again");
  },
  "what may pass is tried again, what lasts is not": async () => {
    let turns = 0;
    const waits = [];
    const task = async () => {
      turns += 1;
      if (turns < 2) throw new Answered(503);
      return "well";
    };
    same(await withRetry(task, 3, (turn) => waits.push(turn)), "well");
    same([turns, waits], [2, [0]]);
    turns = 0;
    const refused = async () => {
      turns += 1;
      throw new Answered(400, "That is no picture.");
    };
    same((await raised(() => withRetry(refused, 6))).message, "That is no picture.");
    same(turns, 1);
    turns = 0;
    const broken = async () => {
      turns += 1;
      throw new Unreached("the connection was lost");
    };
    same((await raised(() => withRetry(broken, 2))).message, "the connection was lost");
    same(turns, 2);
  },
  "the server's clock counts, whatever the device says": () => {
    setClock("2030-06-01T12:00:00Z");
    const off = Math.abs(now() - Date.parse("2030-06-01T12:00:00Z"));
    holds(off < 60000, `${off} ms after it was set it is still about noon`);
    setClock(new Date().toISOString());
  },
  "a sentence is filled, an empty value leaves nothing, a name that nobody gave stays to be seen": () => {
    same(fill("{n} of {all}: {n}", { n: 0, all: 12 }), "0 of 12: 0");
    same(fill("by {who}.", { who: null }), "by .");
    same(fill("by {who}.", {}), "by {who}.");
    same(fill("{toString}", {}), "{toString}");
    same(fill("$& {n}", { n: "$1" }), "$& $1");
  },
};
