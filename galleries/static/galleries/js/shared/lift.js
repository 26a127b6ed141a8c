// Act when the finger lifts. The click a browser makes of a tap comes later, on a slow phone by several frames.
const FAR = 12, // CSS px: a finger that went further meant something else
  SOON = 700; // ms in which the click of the same tap comes

/** Calls act(button) for every button under `root` that `selector` names: of a finger when it lifts where it was put
 * down, of all else (mouse, keys, what reads the screen) at the click. Never twice for one tap. A finger that scrolls,
 * leaves or stays long ends in pointercancel or in another place, and acts on nothing. */
export function onLift(root, selector, act) {
  let down = null,
    lifted = null;
  const under = (event) => event.target.closest?.(selector);
  root.addEventListener("pointerdown", (event) => {
    const button = event.pointerType === "touch" && event.isPrimary ? under(event) : null;
    down = button ? { button, id: event.pointerId, x: event.clientX, y: event.clientY } : null;
  });
  root.addEventListener("pointercancel", () => {
    down = null;
  });
  root.addEventListener("pointerup", (event) => {
    const from = down;
    down = null;
    if (!from || from.id !== event.pointerId || under(event) !== from.button) return;
    if (Math.hypot(event.clientX - from.x, event.clientY - from.y) > FAR) return;
    lifted = { button: from.button, at: event.timeStamp };
    act(from.button);
  });
  root.addEventListener("click", (event) => {
    const button = under(event);
    if (!button) return;
    event.preventDefault();
    const same = lifted?.button === button && event.timeStamp - lifted.at < SOON;
    lifted = null;
    if (!same) act(button);
  });
}
