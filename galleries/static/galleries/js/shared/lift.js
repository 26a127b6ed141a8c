// Act when the finger lifts. The click a browser makes of a tap comes later, on a slow phone by several frames.
const FAR = 12, // CSS px: a finger that went further meant something else
  SOON = 700, // ms in which the click of the same tap comes
  nothing = () => {};

/** Calls act(button) for every button under `root` that `selector` names: of a finger when it lifts where it was put
 * down, of all else (mouse, keys, what reads the screen) at the click. Never twice for one tap. A finger that scrolls,
 * leaves or stays long ends in pointercancel or in another place, and acts on nothing.
 * ready(button): a finger was put down on it; letGo(button): it will not act after all; aside(event): is this click the
 * browser's own, as one that opens a link in another tab? */
export function onLift(root, selector, act, { ready = nothing, letGo = nothing, aside = nothing } = {}) {
  let down = null,
    lifted = null;
  const under = (event) => event.target.closest?.(selector);
  const end = () => {
    const from = down;
    down = null;
    return from;
  };
  const left = (from) => {
    if (from) letGo(from.button);
  };
  root.addEventListener("pointerdown", (event) => {
    left(end()); // a second finger, or one whose end was never told
    const button = event.pointerType === "touch" && event.isPrimary ? under(event) : null;
    if (!button) return;
    down = { button, id: event.pointerId, x: event.clientX, y: event.clientY };
    ready(button);
  });
  root.addEventListener("pointercancel", () => left(end()));
  root.addEventListener("pointerup", (event) => {
    const from = end();
    if (!from) return;
    const far = Math.hypot(event.clientX - from.x, event.clientY - from.y) > FAR;
    if (from.id !== event.pointerId || under(event) !== from.button || far) {
      left(from);
      return;
    }
    lifted = { button: from.button, at: event.timeStamp };
    act(from.button);
  });
  // The mouse's events that a browser makes of a tap each look for what lies under it, before the frame in which the
  // act shows: they are refused. With them the tap takes no focus, which stays where keys left it.
  root.addEventListener(
    "touchend",
    (event) => {
      if (!lifted || !event.cancelable || under(event) !== lifted.button) return;
      event.preventDefault();
      lifted = null;
    },
    { passive: false },
  );
  root.addEventListener("click", (event) => {
    const button = under(event);
    if (!button || aside(event)) return;
    event.preventDefault();
    const same = lifted?.button === button && event.timeStamp - lifted.at < SOON;
    lifted = null;
    if (!same) act(button);
  });
}
