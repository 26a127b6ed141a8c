import { missing, outcomeOf, sendParts } from "/static/galleries/js/studio/parts.js";
import { json, network, same } from "./checks.js";

const name = "KAL_0001.JPG";

/** In place of the request that tells its progress: what was sent where, and each is answered by the next number. */
function puts(...answers) {
  const sent = [];
  globalThis.XMLHttpRequest = class {
    upload = {};
    responseText = "";
    open(_way, address) {
      this.address = address;
    }
    setRequestHeader() {}
    async send(bytes) {
      sent.push([this.address, await bytes.text()]);
      this.upload.onprogress({ loaded: bytes.size });
      this.status = answers.shift() ?? 200;
      this.onload();
    }
  };
  return sent;
}

export default {
  "parts that are there are not missing, and the last is as long as what is left": () => {
    same(missing(10, 4, []), [
      [1, 0, 4],
      [2, 4, 8],
      [3, 8, 10],
    ]);
    same(missing(10, 4, [1, 3]), [[2, 4, 8]]);
    same(missing(8, 4, [1, 2]), []);
  },
  "only what is missing is sent, and then joined": async () => {
    const asked = network(json({ file: 7, part_bytes: 4, there: [1] }), json({ state: "arrived" }));
    const sent = puts();
    const progress = [];
    same(await sendParts("/p", new File(["aaaabbbbcc"], name), "d", 1, (bytes) => progress.push(bytes)), 7);
    same(sent, [
      ["/p/7/2", "bbbb"],
      ["/p/7/3", "cc"],
    ]);
    same(progress, [4, 8, 10]);
    same(asked.length, 2);
  },
  "broken off at the other end, it is begun anew once": async () => {
    const begun = (there) => json({ file: 7, part_bytes: 4, there });
    network(begun([]), json({ error: "Not whole." }, 409), begun([1]), json({ state: "arrived" }));
    const sent = puts();
    same(await sendParts("/p", new File(["aaaabb"], name), "d", 1, () => {}), 7);
    same(
      sent.map(([address]) => address),
      ["/p/7/1", "/p/7/2", "/p/7/2"],
    );
  },
  "a store or a proxy that knows no parts gets the file whole": async () => {
    network(json({}));
    same(await sendParts("/p", new File(["a"], name), "d", 1, () => {}), null);
    network(json({ file: 7, part_bytes: 4, there: [] }));
    puts(405);
    same(await sendParts("/p", new File(["a"], name), "d", 1, () => {}), null);
  },
  "what became of each is told once it was looked at": async () => {
    network(
      json({ files: { 7: { state: "arrived", reason: "" }, 8: { state: "new", reason: "" } } }),
      json({ files: { 7: { state: "refused", reason: "No." } } }),
    );
    const [one, other] = await Promise.all([outcomeOf("/p", 7), outcomeOf("/p", 8)]);
    same(
      [one, other],
      [
        { state: "refused", reason: "No." },
        { state: "new", reason: "" },
      ],
    );
  },
  "a door that is shut is asked no more": async () => {
    network(json({ error: "No." }, 403));
    same(await outcomeOf("/p", 9), { state: "failed", reason: "" });
  },
};
