// A file by parts, straight to the store: those that are there already are not sent again. What becomes of it the
// worker says, so files that arrived are asked for together until each is through.
import { Answered, ask, lasting, pause, post, putPart, withRetry } from "../shared/net.js";

const ASK_EVERY = 1500;

/** [number, first byte, end] of each part that is missing. */
export function missing(size, partBytes, there) {
  const here = new Set(there);
  const parts = [];
  for (let start = 0, number = 1; start < size; start += partBytes, number += 1)
    if (!here.has(number)) parts.push([number, start, Math.min(start + partBytes, size)]);
  return parts;
}

/** The number of a file whose parts are all sent; null where the way in by parts is not there after all. */
export async function sendParts(address, file, digest, tries, onProgress, onWait) {
  const question = { name: file.name, sha256: digest, bytes: file.size };
  for (let turn = 0; ; turn += 1) {
    const begun = await withRetry(() => post(address, question), tries, onWait);
    if (!begun.file) return null;
    try {
      const parts = missing(file.size, begun.part_bytes, begun.there);
      let sent = file.size - parts.reduce((sum, [, start, end]) => sum + end - start, 0);
      onProgress(sent);
      for (const [number, start, end] of parts) {
        const part = file.slice(start, end);
        const to = `${address}/${begun.file}/${number}`;
        await withRetry(() => putPart(to, part, (some) => onProgress(sent + some)), tries, onWait);
        sent += end - start;
      }
      await withRetry(() => post(`${address}/${begun.file}`, {}), tries, onWait);
      return begun.file;
    } catch (error) {
      if (!(error instanceof Answered)) throw error;
      if (error.status === 405) return null; // a proxy that knows no parts yet
      // Broken off at the other end meanwhile: once more from what is there.
      if (turn || ![404, 409].includes(error.status)) throw error;
    }
  }
}

const waiting = new Map();
let asking = false;

/** {state, reason} of a file that arrived, once it was looked at. */
export function outcomeOf(address, file) {
  return new Promise((done) => {
    waiting.set(file, done);
    if (!asking) askFor(address);
  });
}

async function askFor(address) {
  asking = true;
  while (waiting.size) {
    await pause(ASK_EVERY);
    const some = [...waiting.keys()].slice(0, 100);
    const files = await ask(`${address}?of=${some.join(",")}`).then(
      (answer) => answer.files,
      (error) => (lasting(error) ? {} : null), // asked again, unless the door is shut
    );
    for (const file of files ? some : []) {
      const { state, reason } = files[file] ?? { state: "failed", reason: "" };
      if (state === "arrived") continue;
      waiting.get(file)({ state, reason });
      waiting.delete(file);
    }
  }
  asking = false;
}
