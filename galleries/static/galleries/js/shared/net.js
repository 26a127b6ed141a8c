// Requests to our own server, and its clock: devices order their acts by it, not by their own.
//
// Three ways to fail, told apart by their class: `Unreached` (no network, no server), `Answered` (the server said no,
// with its sentence), and among those what may pass by itself (`error.passes`) from a door that is shut.
let ahead = Number(sessionStorage.getItem("clock") ?? 0);
export const token = () => document.querySelector("input[name=csrfmiddlewaretoken]")?.value ?? "";
export const now = () => new Date(Date.now() + ahead);
export function setClock(serverNow) {
  ahead = new Date(serverNow).getTime() - Date.now();
  try {
    sessionStorage.setItem("clock", String(ahead));
  } catch {
    /* a full or forbidden store: this page only */
  }
}

/** The server could not be reached. Asking again may help. */
export class Unreached extends Error {
  passes = true;
}

/** The server said no. `sentence` is its own, or "" where it gave none (a proxy's page, a page in place of JSON). */
export class Answered extends Error {
  constructor(status, sentence = "", passes = passing(status)) {
    super(sentence || `status ${status}`);
    Object.assign(this, { status, sentence, passes });
  }
}
const passing = (status) => status === 408 || status === 429 || status >= 500;

/** An answer that asking again will not change. */
export const lasting = (error) => error instanceof Answered && !error.passes;

/** The door is shut: whoever asks is not let in (any more). */
export const shut = (error) => error instanceof Answered && [401, 403, 404, 410].includes(error.status);

/** What to show of an error: the server's own sentence, else that the door is shut, else that nobody answered. */
export const sentenceOf = (error, { failed, out = failed }) =>
  (error instanceof Answered && error.sentence) || (shut(error) ? out : failed);

/** The answer as it comes, a refusal too. Raises Unreached. */
export async function reach(address, options = {}) {
  try {
    return await fetch(address, { credentials: "same-origin", ...options });
  } catch (error) {
    throw new Unreached(error.message, { cause: error });
  }
}

/** JSON or a form in, JSON out, null where nothing is new (204). Raises Answered, Unreached. */
export async function ask(address, { method = "GET", json, form } = {}) {
  const headers = { Accept: "application/json" };
  if (method !== "GET") headers["X-CSRFToken"] = token();
  if (json !== undefined) headers["Content-Type"] = "application/json";
  const answer = await reach(address, { method, headers, body: json === undefined ? form : JSON.stringify(json) });
  if (answer.status === 204) return null;
  const said = parsed(await answer.text().catch(() => ""));
  if (!answer.ok) throw new Answered(answer.status, said?.error);
  if (said) return said;
  // A page in place of JSON: we were led to the entrance, or the line broke in the middle of the answer.
  throw answer.redirected ? new Answered(403) : new Unreached("an answer that is no JSON");
}
function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

export const post = (address, json) => ask(address, { method: "POST", json });

/** Sends bytes as the body of a PUT; the request, once it is answered. fetch() tells no progress of what it sends, so
    this is the older way. Raises Unreached. */
function sent(address, bytes, headers, onProgress) {
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest();
    request.open("PUT", address);
    const all = { Accept: "application/json", "X-CSRFToken": token(), "Content-Type": "application/octet-stream" };
    for (const [name, value] of Object.entries({ ...all, ...headers })) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => onProgress(event.loaded);
    request.onerror = () => fail(new Unreached("the connection was lost"));
    request.onload = () => done(request);
    request.send(bytes);
  });
}

/** Sends one file. Raises Answered, Unreached. */
export async function put(address, file, headers, onProgress) {
  const { status, responseText } = await sent(address, file, headers, onProgress);
  const said = parsed(responseText);
  // A file that is no picture, or too large for the door, is an answer; one that is just coming in (409) passes.
  if (status === 413 || (status < 300 && said))
    return said?.state ? said : { ...said, state: "refused", reason: said?.reason ?? "" };
  throw new Answered(status < 300 ? 403 : status, said?.error, status === 409 || passing(status));
}

/** Sends one part of a file, which is answered by nothing. Raises Answered, Unreached. */
export async function putPart(address, bytes, onProgress) {
  const { status } = await sent(address, bytes, {}, onProgress);
  if (status >= 300) throw new Answered(status);
}

export const pause = (ms) => new Promise((go) => setTimeout(go, ms));

/** Runs `task` again after 0.5, 1, 2, 4 … s while it fails for a reason that may pass. `onWait` hears of it. */
export async function withRetry(task, tries = 6, onWait = () => {}) {
  for (let turn = 0; ; turn += 1) {
    try {
      return await task();
    } catch (error) {
      if (lasting(error) || turn + 1 >= tries) throw error;
      onWait(turn);
      if (!navigator.onLine)
        await Promise.race([new Promise((go) => addEventListener("online", go, { once: true })), pause(15000)]);
      else await pause(Math.min(500 * 2 ** turn, 15000) * (0.75 + Math.random() / 2));
    }
  }
}
