// What a case of a unit test may say. A case is a function under its name; it fails by throwing.
const shown = (value) =>
  JSON.stringify(value, (_key, one) => (one instanceof Map || one instanceof Set ? [...one] : (one ?? String(one))));

export function same(seen, wanted, about = "") {
  if (shown(seen) !== shown(wanted)) throw new Error(`${about} is ${shown(seen)}, not ${shown(wanted)}`.trim());
}
export function near(seen, wanted, about = "", within = 1e-9) {
  if (!(Math.abs(seen - wanted) <= within)) throw new Error(`${about} is ${seen}, not about ${wanted}`.trim());
}
export function holds(truth, about) {
  if (!truth) throw new Error(`it does not hold that ${about}`);
}
/** The error that `act` ends with. */
export async function raised(act) {
  try {
    await act();
  } catch (error) {
    return error;
  }
  throw new Error("nothing was raised");
}
/** Waits until `truth` holds. */
export async function until(truth, about) {
  for (let turn = 0; turn < 400; turn += 1) {
    if (truth()) return;
    await new Promise((go) => setTimeout(go, 5));
  }
  throw new Error(`it never came to hold that ${about}`);
}
/** In place of the network: `answers` are told one after the other, the last for good; what was asked is listed. */
export function network(...answers) {
  const asked = [];
  globalThis.fetch = async (address, options = {}) => {
    asked.push({ address, ...options });
    const next = answers.length > 1 ? answers.shift() : answers[0];
    const answer = typeof next === "function" ? next(options) : next;
    if (answer instanceof Error) throw answer;
    return answer;
  };
  return asked;
}
export const json = (body, status = 200) =>
  new Response(JSON.stringify(body), { status, headers: { "Content-Type": "application/json" } });
export const page = (status = 200) =>
  new Response("<!DOCTYPE html><p>A page", { status, headers: { "Content-Type": "text/html" } });
export const away = () => new TypeError("Failed to fetch");
/** Numbers between 0 and 1, the same at each run: a linear congruential generator. */
export function dice(seed) {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}
