// What may wait until the frame that shows a press is on its way to the glass.
const HIDDEN = 250; // ms: a page that draws no frames (hidden, or covered by another) does it by then

/** Runs `task` once, in the first task after the next frame. */
export function afterFrame(task) {
  let waits = true;
  const run = () => {
    if (!waits) return;
    waits = false;
    clearTimeout(late);
    task();
  };
  const late = setTimeout(run, HIDDEN);
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = run;
    channel.port2.postMessage(0);
  });
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
