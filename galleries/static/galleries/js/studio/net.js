// Requests of the studio's pages: the form token, answers as JSON, another try when the line is bad.

export const token = () => document.querySelector("[name=csrfmiddlewaretoken]")?.value ?? "";

export class Told extends Error {
  // The server answered with a sentence; asking again would not change it.
  constructor(sentence, status) {
    super(sentence);
    this.status = status;
  }
}

export const pause = (ms) => new Promise((go) => setTimeout(go, ms));

// Runs `task` again after 0.5, 1, 2, 4 … s while it fails for a reason that may pass. `onWait` hears of it.
export async function withRetry(task, tries = 6, onWait = () => {}) {
  for (let turn = 0; ; turn += 1) {
    try {
      return await task();
    } catch (error) {
      if (error instanceof Told || turn + 1 >= tries) throw error;
      onWait(turn);
      if (!navigator.onLine)
        await Promise.race([new Promise((go) => addEventListener("online", go, { once: true })), pause(15000)]);
      else await pause(Math.min(500 * 2 ** turn, 15000) * (0.75 + Math.random() / 2));
    }
  }
}

const passing = (status) => status === 409 || status === 408 || status === 429 || status >= 500;

export async function ask(url, { method = "GET", data, accept204 = false } = {}) {
  const headers = { Accept: "application/json" };
  if (method !== "GET") headers["X-CSRFToken"] = token();
  if (data !== undefined) headers["Content-Type"] = "application/json";
  const answer = await fetch(url, {
    method,
    headers,
    body: data === undefined ? undefined : JSON.stringify(data),
    credentials: "same-origin",
  });
  if (accept204 && answer.status === 204) return null;
  const body = await answer.json().catch(() => ({}));
  if (answer.ok) return body;
  if (answer.status >= 500) throw new Error(`status ${answer.status}`);
  throw new Told(body.error ?? `status ${answer.status}`, answer.status);
}

export const post = (url, data) => ask(url, { method: "POST", data });

// Sends one file as the body of a PUT. fetch() tells no progress of what it sends, so this is the older request.
export function put(url, file, headers, onProgress) {
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest();
    request.open("PUT", url);
    request.setRequestHeader("Accept", "application/json");
    request.setRequestHeader("X-CSRFToken", token());
    request.setRequestHeader("Content-Type", "application/octet-stream");
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.upload.onprogress = (event) => onProgress(event.loaded);
    request.onerror = () => fail(new Error("the connection was lost"));
    request.onload = () => {
      let body = {};
      try {
        body = JSON.parse(request.responseText);
      } catch {
        /* a proxy's page */
      }
      if (request.status < 300 || request.status === 413)
        done(body.state ? body : { ...body, state: "refused", reason: body.reason ?? "" });
      else if (passing(request.status)) fail(new Error(body.error ?? `status ${request.status}`));
      else fail(new Told(body.error ?? `status ${request.status}`, request.status));
    };
    request.send(file);
  });
}

export const fill = (text, values) => text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);
