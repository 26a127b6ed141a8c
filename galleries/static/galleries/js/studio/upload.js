// Frames from the browser. Each file: hash it, ask whether it is there, send it if not; four at a time.
// Nothing is remembered in the browser: after a reload the hashes tell what is there already.
import { $, el, fill, number, plural, say as tell } from "../shared/dom.js";
import { ask, post, put, sentenceOf, withRetry } from "../shared/net.js";
import { outcomeOf, sendParts } from "./parts.js";

const AT_ONCE = 4;
const LOOKING = 40; // no more are sent while so many wait to be looked at
const part = $("#uploader");
const words = $("#words").dataset;
const companions = new Set(part.dataset.companions.split(" "));
const raw = new Set((part.dataset.raw ?? "").split(" ")); // kinds that stay on the disk, where there are any
const afterOthers = new Set((part.dataset.afterOthers ?? "").split(" "));
const most = Number(part.dataset.most);
const tries = Number(part.dataset.retries);
const items = [];
const queue = [];
let working = 0;
let looking = 0; // files that arrived and are not looked at yet
let paused = false;
let passedOver = 0;
const rawPassed = { count: 0, kinds: new Set() };

// --- which files -------------------------------------------------------------------------------------------

const ending = (name) => name.slice(name.lastIndexOf(".")).toLowerCase();
const hidden = (file) => /^(\.|Thumbs\.db$|desktop\.ini$)/i.test(file.name);
function forUs(file) {
  const kind = ending(file.name);
  if (!hidden(file) && kind && raw.has(kind)) {
    rawPassed.count += 1;
    rawPassed.kinds.add(kind);
    return false;
  }
  if (!hidden(file) && !companions.has(kind)) return true;
  passedOver += 1;
  return false;
}

// In the order of their names, a raw file after the others of its name: the picture is the frame, the raw joins it.
function placeOf(file) {
  const path = file.webkitRelativePath || file.name;
  const dot = path.lastIndexOf(".");
  return `${path.slice(0, dot < 0 ? undefined : dot)} ${afterOthers.has(ending(path)) ? "2" : "1"} ${path}`;
}

async function* walk(entry) {
  if (entry.isFile) {
    yield await new Promise((done, fail) => entry.file(done, fail));
  } else if (entry.isDirectory) {
    const reader = entry.createReader();
    for (;;) {
      const some = await new Promise((done, fail) => reader.readEntries(done, fail));
      if (!some.length) return;
      for (const one of some) yield* walk(one);
    }
  }
}

async function dropped(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return [...transfer.files];
  const files = [];
  for (const entry of entries) for await (const file of walk(entry)) files.push(file);
  return files;
}

function take(files) {
  const wanted = files.filter(forUs);
  if (!wanted.length) {
    $("#progress").hidden = false;
    say(words.none);
    return;
  }
  wanted.sort((a, b) => placeOf(a).localeCompare(placeOf(b)));
  const rows = document.createDocumentFragment();
  for (const file of wanted) {
    const row = $("#file-row").content.firstElementChild.cloneNode(true);
    row.querySelector(".name").textContent = file.name;
    const item = { file, row, state: "waiting", sent: 0 };
    show(item, "waiting", words.waiting);
    rows.append(row);
    items.push(item);
    queue.push(item);
  }
  $("#files").append(rows);
  $("#progress").hidden = false;
  tally();
  work();
}

// --- one file ----------------------------------------------------------------------------------------------

async function digestOf(file) {
  // Without a secure context the browser lends no hash: the server does it, and a resumed file is sent again.
  if (!globalThis.isSecureContext || !crypto.subtle) return "";
  const sum = await crypto.subtle.digest("SHA-256", await file.arrayBuffer());
  return [...new Uint8Array(sum)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Questions of a moment travel together.
let asking = null;
function isKnown(digest, name) {
  if (!asking) {
    const round = { digests: new Set(), names: {} };
    round.answer = new Promise((go) => setTimeout(go, 40)).then(async () => {
      asking = null;
      const body = await withRetry(
        () => post(part.dataset.known, { digests: [...round.digests], names: round.names }),
        tries,
      );
      return new Set(body.known);
    });
    asking = round;
  }
  asking.digests.add(digest);
  asking.names[digest] = name;
  return asking.answer.then((known) => known.has(digest));
}

async function send(item) {
  if (item.file.size > most) return show(item, "refused", words.big);
  show(item, "busy", words.hashing);
  try {
    const digest = await withRetry(() => digestOf(item.file), 2);
    if (digest && (await isKnown(digest, item.file.name))) {
      item.sent = item.file.size;
      return show(item, "same", words.same);
    }
    if (digest && part.dataset.parts && (await sentByParts(item, digest))) return;
    tellOutcome(item, await sentWhole(item, digest));
  } catch (error) {
    show(item, "failed", sentenceOf(error, words));
  }
}

function sentWhole(item, digest) {
  const headers = { "X-File-Name": encodeURIComponent(item.file.name) };
  if (digest) headers["X-File-Sha256"] = digest;
  return withRetry(
    () => {
      show(item, "busy", words.sending);
      return put(part.dataset.put, item.file, headers, (sent) => progress(item, sent));
    },
    tries,
    () => {
      progress(item, 0);
      show(item, "busy", words.retry);
    },
  );
}

// Past the site, straight to where files lie; false where that way is shut. The next one does not wait for the look.
async function sentByParts(item, digest) {
  show(item, "busy", words.sending);
  const again = () => show(item, "busy", words.retry);
  const moved = (sent) => progress(item, sent);
  const file = await sendParts(part.dataset.parts, item.file, digest, tries, moved, again);
  if (file === null) return false;
  item.sent = item.file.size;
  show(item, "arrived", words.arrived);
  looking += 1;
  outcomeOf(part.dataset.parts, file).then((outcome) => {
    looking -= 1;
    tellOutcome(item, outcome);
    tally();
    work();
  });
  return true;
}

function tellOutcome(item, answer) {
  item.sent = item.file.size;
  const word = words[answer.state] ?? answer.state;
  const text = answer.reason ? `${word}: ${answer.reason}` : word;
  show(item, answer.state, text);
}

function show(item, state, text) {
  item.state = state;
  item.row.dataset.state = state;
  item.row.querySelector(".state").textContent = text;
  // What did not come in stands first, by itself.
  const troubled = ["refused", "failed"].includes(state);
  const list = $(troubled ? "#troubled" : "#files");
  if (item.row.parentElement && item.row.parentElement !== list) list.append(item.row);
  item.row.querySelector("progress").value = ["new", "same", "stray"].includes(state)
    ? 1
    : item.sent / (item.file.size || 1);
}

function progress(item, sent) {
  item.sent = Math.min(sent, item.file.size);
  item.row.querySelector("progress").value = item.sent / (item.file.size || 1);
  tally();
}

// --- all of them -------------------------------------------------------------------------------------------

async function work() {
  while (working < AT_ONCE && looking < LOOKING && queue.length && !paused) {
    const item = queue.shift();
    working += 1;
    send(item).finally(() => {
      working -= 1;
      tally();
      work();
    });
  }
  if (!working && !looking && !queue.length && items.length) await finished();
}

const count = (state) => items.filter((item) => item.state === state).length;
let drawn = 0;

function tally() {
  if (drawn) return;
  drawn = requestAnimationFrame(() => {
    drawn = 0;
    const all = items.reduce((sum, item) => sum + item.file.size, 0);
    const sent = items.reduce(
      (sum, item) => sum + (["waiting", "busy"].includes(item.state) ? item.sent : item.file.size),
      0,
    );
    const done = items.filter((item) => !["waiting", "busy", "arrived"].includes(item.state)).length;
    const mb = (bytes) => number(bytes / 1e6, bytes < 1e7 ? 1 : 0);
    $("#all-progress").max = all || 1;
    $("#all-progress").value = sent;
    const troubled = count("refused") + count("failed");
    $("#troubles").hidden = !troubled;
    $("#pause").hidden = done === items.length;
    $("#troubles-head").textContent = fill(words.troubled, { n: troubled });
    $("#all-label").textContent = plural(words, "total", items.length, { done, mb: mb(sent), allmb: mb(all) });
  });
}

function say(text) {
  const { count: n, kinds } = rawPassed;
  const strays = count("stray");
  const more = [
    strays && fill(words.strays, { n: strays }),
    n && fill(words.rawpassed, { n, kinds: [...kinds].sort().join(", ") }),
    passedOver && fill(words.passed, { n: passedOver }),
  ];
  tell([text, ...more.filter(Boolean)].join(" "));
}

async function finished() {
  say(
    fill(words.end, { fresh: count("new"), same: count("same"), refused: count("refused"), failed: count("failed") }),
  );
  part.dataset.state = "through";
  if ($("#reload")) $("#reload").hidden = false;
  if (!$("#refused-part")) return;
  try {
    const body = await ask($("#refused-part").dataset.address);
    $("#frame-count").textContent = body.frames;
    const here = new Set(items.filter((item) => item.state === "refused").map((item) => item.file.name));
    const earlier = body.refused.filter(({ name }) => !here.has(name));
    $("#refused-part").hidden = !earlier.length;
    $("#refusals").replaceChildren(
      ...earlier.map(({ name, reason }) =>
        el("li", {}, el("b", { className: "typed", textContent: name }), `: ${reason}`),
      ),
    );
  } catch {
    /* the list is on the page after the next load */
  }
}

$("#pick-files").addEventListener("change", (event) => {
  take([...event.target.files]);
  event.target.value = "";
});
$("#pick-folder").addEventListener("change", (event) => {
  take([...event.target.files]);
  event.target.value = "";
});
$("#pause").addEventListener("click", () => {
  paused = !paused;
  $("#pause").textContent = paused ? words.resume : words.pause;
  $("#pause").setAttribute("aria-pressed", String(paused));
  work();
});
$("#again").addEventListener("click", () => {
  for (const item of items.filter((one) => ["failed", "refused"].includes(one.state))) {
    item.sent = 0;
    show(item, "waiting", words.waiting);
    queue.push(item);
  }
  tally();
  work();
});
const zone = $("#dropzone");
for (const kind of ["dragenter", "dragover"])
  addEventListener(kind, (event) => {
    event.preventDefault();
    zone.classList.add("over");
  });
addEventListener("dragleave", (event) => {
  if (!event.relatedTarget) zone.classList.remove("over");
});
addEventListener("drop", async (event) => {
  event.preventDefault();
  zone.classList.remove("over");
  take(await dropped(event.dataTransfer));
});
addEventListener("beforeunload", (event) => {
  if (working || queue.length) event.preventDefault();
});
