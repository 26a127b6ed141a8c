// Requests to our own server, and its clock: devices order their acts by it, not by their own.
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
export class Answered extends Error {
  constructor(status, sentence) {
    super(sentence);
    this.status = status;
  }
}
/** JSON in, JSON out. Raises Answered when the server said no, TypeError when it could not be reached. */
export async function ask(address, { method = "GET", json, form } = {}) {
  const headers = { Accept: "application/json" };
  if (method !== "GET") headers["X-CSRFToken"] = token();
  if (json !== undefined) headers["Content-Type"] = "application/json";
  const body = json !== undefined ? JSON.stringify(json) : form;
  const response = await fetch(address, { method, headers, body, credentials: "same-origin", redirect: "follow" });
  if (response.status === 204) return null;
  const said = response.headers.get("Content-Type")?.includes("json") ? await response.json() : null;
  if (!response.ok) throw new Answered(response.status, said?.error ?? String(response.status));
  return said;
}
