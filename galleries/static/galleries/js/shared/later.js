// What may wait until the frame that shows a press is on its way to the glass.
const HIDDEN = 250; // ms: a page that draws no frames (hidden, or covered by another) does it by then

const channel = new MessageChannel(); // its message is the first task after the frame
const waiting = [], // for the next frame
  due = []; // for the end of the one that is being drawn
let late = 0;
channel.port1.onmessage = through;

function through() {
  for (const run of due.splice(0)) run();
}
function drawing() {
  clearTimeout(late);
  due.push(...waiting.splice(0));
  channel.port2.postMessage(0);
}
function undrawn() {
  due.push(...waiting.splice(0));
  through();
}

/** Runs `task` once, in the first task after the next frame; what this returns runs it at once, if it has not run. */
export function afterFrame(task) {
  let waits = true;
  const run = () => {
    if (!waits) return;
    waits = false;
    try {
      task();
    } catch (error) {
      reportError(error); // of this one: the others have theirs to do
    }
  };
  if (!waiting.length) {
    requestAnimationFrame(drawing);
    late = setTimeout(undrawn, HIDDEN);
  }
  waiting.push(run);
  return run;
}
/** `task` after the next frame, once for however often it is asked for until then, with what was asked last. */
export function soon(task) {
  let waits = false,
    last = [];
  return (...asked) => {
    last = asked;
    if (waits) return;
    waits = true;
    afterFrame(() => {
      waits = false;
      task(...last);
    });
  };
}
/** When the page is through with its own, so that nothing on the first screen waits for what is for later. */
export const settled = () =>
  document.readyState === "complete"
    ? Promise.resolve()
    : new Promise((done) => addEventListener("load", done, { once: true }));
/** `task` when the browser has nothing else to do. */
export const idle = (task) => (globalThis.requestIdleCallback ?? setTimeout)(task);
