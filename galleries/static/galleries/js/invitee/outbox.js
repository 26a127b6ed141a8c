// What a device still has to say. One row per frame, the last intent wins; every act has an id, so that saying it
// twice is harmless. Rows live in the browser's own database and outlast the page, the network and the battery.
import { Answered, ask, lasting, now, shut, token } from "../shared/net.js";

const NAME = "sheet-outbox",
  STORE = "acts";
const MOST = 200,
  THROUGH = 0; // the row of "I am through", where a frame's number stands in the others

function database() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(STORE, { keyPath: "key" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
    request.onblocked = () => reject(new Error("blocked"));
  });
}
const settled = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
function fresh() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

export class Outbox {
  /**
   * person: who this device speaks for; done: where "I am through" is said, on a page that says it;
   * onAnswers(list of [row, answer]);
   * onState({waiting, held, sending, offline, shut, keeps}): rows to send, rows that wait for the person's word, and
   * whether the network is away, the door is shut, or the browser keeps nothing;
   * onRows(frames): another window of this device left rows for these;
   * says(): will the page itself say that "I am through" arrived (onThrough)?
   * labelOf(frame): kept with what is said of it, for when the frame is gone and the words stay.
   */
  constructor({ person, address, done, onAnswers, onState, onThrough, onRows, says, labelOf = () => undefined }) {
    Object.assign(this, { person, address, done, onAnswers, onState, onThrough, onRows, says, labelOf });
    this.rows = new Map(); // frame -> row: the database's copy, or all there is where there is no database
    this.keeps = true;
    this.sending = this.offline = this.shut = false;
  }
  async open() {
    try {
      this.base = await database();
      const all = await settled(this.store("readonly").getAll());
      const [sitting] = this.person.split("-");
      for (const row of all) {
        if (row.person === this.person) this.rows.set(row.frame, row);
        // Somebody else came in to the same sitting on this device: what the one before left is not theirs to see.
        else if (row.person.split("-")[0] === sitting) this.store("readwrite").delete(row.key);
      }
    } catch {
      this.keeps = false;
    }
    for (const [target, kind] of [
      [window, "online"],
      [document, "visibilitychange"],
      [window, "pageshow"],
    ]) {
      target.addEventListener(kind, async () => {
        if (document.hidden) return;
        await this.adopt();
        this.flush();
      });
    }
    window.addEventListener("offline", () => {
      this.offline = true;
      this.tell();
    });
    setInterval(() => {
      if (this.waiting().length) this.flush();
    }, 5000);
    this.offline = !navigator.onLine;
    this.tell();
    return this.flush();
  }
  store(mode) {
    return this.base.transaction(STORE, mode).objectStore(STORE);
  }
  /** What another window of this device left unsent, and what it said later of the same frames, is this one's to send:
      that window may be closed before there is a network. */
  async adopt() {
    if (!this.base || !this.keeps) return;
    const all = await settled(this.store("readonly").getAll()).catch(() => []);
    const later = ({ person, frame, at }) => person === this.person && !(this.rows.get(frame)?.at >= at);
    const rows = all.filter(later);
    for (const row of rows) this.rows.set(row.frame, row);
    if (!rows.length) return;
    this.tell();
    this.onRows?.(rows.map(({ frame }) => frame).filter((frame) => frame !== THROUGH));
  }
  waiting() {
    return [...this.rows.values()].filter((row) => !row.held).sort((a, b) => (a.at < b.at ? -1 : 1));
  }
  held(why) {
    return [...this.rows.values()].filter((row) => row.held === why);
  }
  tell() {
    const { sending, offline, shut, keeps } = this,
      waiting = this.waiting().length;
    this.onState({ waiting, held: this.rows.size - waiting, sending, offline, shut, keeps });
  }
  /**
   * Say something about a frame: {kind, kindSeen} and/or {note, seen}, seen being the revision that was shown.
   * Resolves when it is kept.
   */
  async put(frame, intent) {
    this.drop(THROUGH); // a new mark takes "I am through" back
    const before = this.rows.get(frame) ?? {};
    const row = {
      ...before,
      ...intent,
      key: `${this.person}:${frame}`,
      person: this.person,
      frame,
      label: this.labelOf(frame) ?? before.label,
      act: fresh(),
      at: now().toISOString(),
      held: "",
    };
    if (intent.kind !== undefined) row.kindAt = row.at;
    if (before.note !== undefined && before.seen !== undefined && before.held !== "conflict") row.seen = before.seen;
    this.rows.set(frame, row);
    this.tell();
    await this.keep(row);
    this.flush();
  }
  async keep(row) {
    if (!this.keeps) return;
    try {
      const request = this.store("readwrite").put(row);
      request.transaction.commit(); // not when it has answered: a page that ends now has said it
      await settled(request);
    } catch {
      this.keeps = false;
      this.tell();
    }
  }
  async drop(frame) {
    const row = this.rows.get(frame);
    this.rows.delete(frame);
    if (row && this.keeps) await this.erase(row).catch(() => {});
    this.tell();
  }
  /** From the database, unless another window of this device has said something newer of that frame meanwhile. */
  async erase({ key, at }) {
    const store = this.store("readwrite"),
      kept = await settled(store.get(key));
    if (kept && kept.at <= at) await settled(store.delete(key));
  }
  /** The person is through: said when all their marks are. Does it still wait? */
  async through() {
    const row = {
      key: `${this.person}:${THROUGH}`,
      person: this.person,
      frame: THROUGH,
      at: now().toISOString(),
      held: "",
    };
    this.rows.set(THROUGH, row);
    await this.keep(row);
    await this.flush();
    return this.rows.has(THROUGH) && !this.shut;
  }
  async sayThrough() {
    const form = new FormData();
    form.set("csrfmiddlewaretoken", token());
    if (this.says?.()) form.set("said", "1"); // the open page says it: the next one need not
    const answer = await ask(this.done, { method: "POST", form });
    if (!answer?.through) throw new Answered(410);
    await this.drop(THROUGH);
    this.onThrough();
  }
  /** Why it was held is over (the list is open again, the frame is back): it may go. */
  release(why = "closed", frames = null) {
    for (const row of this.held(why)) {
      if (frames && !frames.has(row.frame)) continue;
      row.held = "";
      this.keep(row);
    }
    this.flush();
  }
  async flush() {
    if (this.sending) {
      this.again = true;
      return;
    }
    this.sending = true;
    try {
      const marks = () => this.waiting().filter((row) => row.frame !== THROUGH);
      for (let rows = marks(); rows.length; rows = marks()) {
        const said = rows.slice(0, MOST);
        this.tell();
        const answer = await ask(this.address, { method: "POST", json: said.flatMap(acts) });
        if (!answer?.answers) throw new Answered(410); // led away to some other page: not the network's fault
        this.offline = this.shut = false;
        await this.take(said, new Map(answer.answers.map((answer) => [answer.act, answer])));
      }
      if (this.done && this.rows.has(THROUGH)) await this.sayThrough();
      this.offline = false;
    } catch (error) {
      this.offline = !(error instanceof Answered);
      this.shut = shut(error);
      if (lasting(error)) {
        if (this.rows.has(THROUGH) && this.rows.size === 1) await this.drop(THROUGH); // refused, and why
        this.onAnswers([], error);
      }
    }
    this.sending = false;
    this.tell();
    if (this.again) {
      this.again = false;
      this.flush();
    }
  }
  async take(rows, answers) {
    const news = [];
    for (const row of rows) {
      const kind = answers.get(`${row.act}k`),
        note = answers.get(`${row.act}n`);
      const current = this.rows.get(row.frame);
      news.push([row, kind, note]);
      if (current?.act !== row.act) continue; // meanwhile the person said something newer about this frame
      const wrong = [kind, note].find((answer) => answer?.error);
      if (wrong?.kind_of_error === "Refused")
        await this.keep(Object.assign(current, { held: "closed", why: wrong.error }));
      else if (note?.kind_of_error === "Missing" && row.note)
        await this.keep(Object.assign(current, { held: "gone" })); // the frame went; the words do not
      else if (note?.conflict) {
        delete current.kind;
        const { note: theirs, for_studio: theirs_alone, revision } = note;
        await this.keep(Object.assign(current, { held: "conflict", theirs, theirs_alone, revision }));
      } else await this.drop(row.frame);
    }
    this.onAnswers(news);
  }
}
/** A row as acts for the server: note and mark apart, so that a doubtful note holds up no mark; the note first,
    because it names the revision that it was written on. */
function acts(row) {
  const said = [];
  if (row.note !== undefined) {
    const { frame, note, seen, at, alone: for_studio = null } = row;
    said.push({ frame, note, for_studio, seen, act: `${row.act}n`, at });
  }
  if (row.kind !== undefined)
    said.push({ frame: row.frame, kind: row.kind, seen: row.kindSeen, act: `${row.act}k`, at: row.kindAt });
  return said;
}
