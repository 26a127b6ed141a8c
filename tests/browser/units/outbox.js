import { Marks } from "/static/galleries/js/invitee/marks.js";
import { Outbox } from "/static/galleries/js/invitee/outbox.js";
import { away, holds, json, network, page, same, until } from "./checks.js";

let sittings = 0;
function someone() {
  sittings += 1;
  return `${sittings}-subject`;
}
/** An outbox of a person in a sitting of their own, and what it told. */
async function opened(person = someone()) {
  const told = { news: [], states: [], errors: [] };
  const outbox = new Outbox({
    person,
    address: "/marks",
    onAnswers: (news, error) => (error ? told.errors.push(error.status) : told.news.push(...news)),
    onState: (state) => told.states.push(state),
  });
  await outbox.open();
  return [outbox, told];
}
const acts = (asked) => asked.map(({ body }) => JSON.parse(body));
/** A server that takes everything. */
const taking = ({ body }) =>
  json({
    answers: JSON.parse(body).map((act) => ({ ...act, kind: act.kind ?? "", note: act.note ?? "", revision: 1 })),
  });
const idle = (outbox) => until(() => !outbox.sending && !outbox.waiting().length, "everything is sent");

export default {
  "a mark goes out with its revision, and leaves the outbox when it is answered": async () => {
    const asked = network(taking);
    const [outbox, told] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 4 });
    await idle(outbox);
    const [[act]] = acts(asked);
    same([act.frame, act.kind, act.seen], [11, "pick", 4]);
    holds(/^[0-9a-f]{32}k$/.test(act.act), "an act has an id of its own");
    same(outbox.rows.size, 0);
    same(told.news.length, 1);
  },
  "a note goes before the mark it was given with": async () => {
    const asked = network(away(), taking);
    const [outbox] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => outbox.offline && !outbox.sending, "the network is away");
    await outbox.put(11, { note: "the collar", seen: 0 });
    await idle(outbox);
    same(
      acts(asked)
        .at(-1)
        .map((act) => act.kind ?? act.note),
      ["the collar", "pick"],
    );
  },
  "offline, the last word about a frame is the one that is sent": async () => {
    const asked = network(away(), away(), taking);
    const [outbox, told] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => outbox.offline && !outbox.sending, "the network is away");
    holds(!told.errors.length && !told.states.at(-1).shut, "no door is shut");
    await outbox.put(11, { kind: "strike", kindSeen: 0 });
    await until(() => asked.length === 2 && !outbox.sending, "it tried again");
    same(outbox.waiting().length, 1);
    await outbox.flush();
    await idle(outbox);
    same(
      acts(asked)
        .at(-1)
        .map((act) => act.kind),
      ["strike"],
    );
    same(outbox.offline, false);
  },
  "what was said while the answer was on its way is not lost to it": async () => {
    let answer;
    const asked = network(
      () =>
        new Promise((go) => {
          answer = go;
        }),
      taking,
    );
    const [outbox] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => answer, "it was asked");
    await outbox.put(11, { kind: "strike", kindSeen: 0 });
    answer(taking(asked[0]));
    await idle(outbox);
    same(
      acts(asked).map(([act]) => act.kind),
      ["pick", "strike"],
    );
  },
  "a shut door is told, and nothing is thrown away": async () => {
    network(page(404));
    const [outbox, told] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => told.errors.length, "somebody is told");
    same([told.errors, outbox.shut, outbox.offline, outbox.waiting().length], [[404], true, false, 1]);
  },
  "a server in trouble is waited for in silence": async () => {
    network(page(502));
    const [outbox, told] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => told.states.at(-1).waiting && !outbox.sending, "it came to rest");
    same([told.errors, outbox.shut, outbox.waiting().length], [[], false, 1]);
  },
  "of a frame that went meanwhile the mark is let go, and the words of a note are held until it is back": async () => {
    const missing = ({ body }) =>
      json({ answers: JSON.parse(body).map(({ act }) => ({ act, error: "gone", kind_of_error: "Missing" })) });
    const asked = network(missing, missing, taking);
    const [outbox, told] = await opened();
    outbox.labelOf = (frame) => `00${frame}`;
    await outbox.put(12, { kind: "pick", kindSeen: 0 });
    await until(() => told.news.length === 1 && !outbox.sending, "it was answered");
    same(outbox.rows.size, 0);
    await outbox.put(11, { note: "the collar", seen: 0 });
    await until(() => outbox.held("gone").length && !outbox.sending, "the words are held");
    same([outbox.held("gone")[0].note, outbox.held("gone")[0].label], ["the collar", "0011"]);
    const [again] = await opened(outbox.person);
    same(
      again.held("gone").map((row) => row.note),
      ["the collar"],
    );
    outbox.release("gone", new Set([12]));
    same(outbox.held("gone").length, 1);
    outbox.release("gone", new Set([11]));
    await until(() => !outbox.rows.size, "they went");
    same(acts(asked).at(-1)[0].note, "the collar");
  },
  "after the closing a mark is held, and goes when the list is open again": async () => {
    const refusing = ({ body }) =>
      json({ answers: JSON.parse(body).map(({ act }) => ({ act, error: "closed", kind_of_error: "Refused" })) });
    const asked = network(refusing, taking);
    const [outbox] = await opened();
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => outbox.held("closed").length, "it is held");
    same(outbox.waiting().length, 0);
    outbox.release();
    await until(() => !outbox.rows.size, "it went");
    same(asked.length, 2);
  },
  "a note that somebody changed meanwhile waits for the person's word; the mark is through": async () => {
    network(({ body }) =>
      json({
        answers: JSON.parse(body).map(({ act, note }) =>
          note === undefined ? { act, kind: "pick" } : { act, conflict: true, note: "theirs", revision: 9 },
        ),
      }),
    );
    const [outbox] = await opened();
    await outbox.put(11, { kind: "pick", note: "mine", seen: 1, kindSeen: 1 });
    await until(() => outbox.held("conflict").length, "it is held");
    const [row] = outbox.held("conflict");
    same([row.note, row.theirs, row.revision, row.kind], ["mine", "theirs", 9, undefined]);
  },
  "the rows outlast the page, and are no other person's": async () => {
    network(away());
    const [outbox] = await opened("900-subject");
    await outbox.put(11, { kind: "pick", kindSeen: 0 });
    const [again] = await opened("900-subject");
    same(
      again.waiting().map(({ frame, kind }) => [frame, kind]),
      [[11, "pick"]],
    );
    const [other] = await opened("901-subject");
    same(other.rows.size, 0);
    const [next] = await opened("900-agent"); // somebody else in the same sitting, on the same device
    same(next.rows.size, 0);
    await until(() => next.keeps, "it has the browser's store");
    const [back] = await opened("900-subject");
    same(back.rows.size, 0);
  },
  "what is shown is the server's word with the outbox laid over it; the same again takes it away; undo brings it back":
    async () => {
      network(away());
      const [outbox] = await opened();
      const state = { mine: { 11: ["alternate", 2, "a note", false] }, theirs: {}, people: {}, sides: {} };
      const marks = new Marks(state, outbox);
      same(marks.of(11).kind, "alternate");
      same(marks.press(11, "alternate"), "");
      same(marks.of(11).kind, "");
      same(marks.press(11, "pick"), "pick");
      same([marks.of(11).kind, marks.of(11).note], ["pick", "a note"]);
      same(marks.undo(), 11);
      same(marks.of(11).kind, "");
      same(marks.undo(), 11);
      same(marks.of(11).kind, "alternate");
      same(marks.undo(), undefined);
      outbox.rows.get(11).held = "closed";
      same(marks.of(11).kind, "alternate");
    },
  "only frames of which the server says something else are drawn again": async () => {
    network(away());
    const [outbox] = await opened();
    const people = { 1: ["subject", "A"], 2: ["representation", "B"] };
    const state = {
      mine: { 11: ["pick", 1, ""], 12: ["pick", 1, ""] },
      theirs: { 13: [[2, "pick"]] },
      people,
      sides: {},
    };
    const marks = new Marks(state, outbox);
    const drawn = [];
    marks.listeners.push((frames) => drawn.push(frames));
    marks.take(structuredClone(state));
    marks.take({ ...state, mine: { 11: ["strike", 2, ""], 12: ["pick", 1, ""] }, theirs: { 13: [[2, "strike"]] } });
    same(drawn, [[], [11, 13]]);
    same(marks.othersOf(13), [{ role: "representation", name: "B", kind: "strike" }]);
  },
  "what two windows of a device say without a network is not lost when one of them is closed": async () => {
    const person = someone();
    network(away());
    const [here, told] = await opened(person);
    await here.put(911, { kind: "pick", kindSeen: 0 });
    await here.put(912, { kind: "pick", kindSeen: 0 });
    await until(() => here.offline && !here.sending, "the network is away");
    const [there] = await opened(person);
    await there.put(911, { kind: "strike", kindSeen: 0 }); // later, of the same frame
    await there.put(913, { note: "the collar", seen: 0 });
    await until(() => there.offline && !there.sending, "the network is away");
    there.flush = () => {}; // that window is closed
    const asked = network(taking);
    dispatchEvent(new Event("online"));
    await until(() => asked.length && !here.rows.size && !here.sending, "everything is sent");
    same(
      acts(asked)
        .flat()
        .filter(({ frame }) => frame > 900) // of these two windows: other cases' are open still
        .map((act) => [act.frame, act.kind ?? act.note])
        .sort(),
      [
        [911, "strike"],
        [912, "pick"],
        [913, "the collar"],
      ],
    );
    same(told.errors, []);
    const [next] = await opened(person);
    same(next.rows.size, 0, "nothing is left behind");
  },
  "an answer to what one window said takes nothing away that another said after it": async () => {
    const person = someone();
    let answer;
    const asked = network(
      () =>
        new Promise((go) => {
          answer = go;
        }),
      away(),
    );
    const [here] = await opened(person);
    await here.put(11, { kind: "pick", kindSeen: 0 });
    await until(() => asked.length === 1, "it is on its way");
    const [there] = await opened(person);
    there.flush = () => {}; // and is closed before it could send
    await there.put(11, { kind: "strike", kindSeen: 0 });
    answer(taking(asked[0]));
    await until(() => !here.rows.size && !here.sending, "it is answered");
    const [next] = await opened(person);
    same(next.rows.get(11)?.kind, "strike");
  },
  "undo takes back the latest press on a frame that is still there": async () => {
    network(taking);
    const [outbox] = await opened();
    const marks = new Marks({ mine: {}, theirs: {}, sides: {}, people: {} }, outbox);
    for (const frame of [11, 12, 13]) marks.press(frame, "pick");
    const there = (frame) => frame !== 13 && frame !== 11; // two were taken off the sheet since
    same([marks.undo(there), marks.of(12).kind, marks.of(13).kind], [12, "", "pick"]);
    same(marks.undo(there), undefined, "nothing is left to take back");
  },
};
