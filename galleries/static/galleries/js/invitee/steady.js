// The face keeps its size and its place from frame to frame: the one that is shown is the measure for all.

/** What stays when words under the picture come and go: the shorter side of the stage, on a phone its width. */
const unit = ({ clientWidth, clientHeight }) => Math.min(clientWidth, clientHeight);

/** What stands there now, in units of the stage: how far the eyes are apart, and where the middle between them is, from
    the stage's middle line and from its upper edge. frame {eyes, gap}; box: where the picture lies; null where the eyes
    are not known. */
export function measure({ eyes, gap }, { left, top, width, height }, stage) {
  if (!eyes || !gap) return null;
  const one = unit(stage);
  return {
    apart: (gap * width) / one,
    x: (left + eyes[0] * width - stage.clientWidth / 2) / one,
    y: (top + eyes[1] * height) / one,
  };
}
/** Where a frame has to lie so that its eyes meet the measure: CSS pixels to one of the picture, and the point of the
    picture in the middle of the stage. The eyes stay on a stage that is lower than the one that was measured. */
export function meeting({ width, height, eyes, gap }, { apart, x, y }, stage) {
  if (!eyes || !gap) return null;
  const one = unit(stage),
    zoom = (apart * one) / (gap * width),
    down = Math.min(y * one, 0.8 * stage.clientHeight);
  return {
    zoom,
    x: eyes[0] - (x * one) / (width * zoom),
    y: eyes[1] + (stage.clientHeight / 2 - down) / (height * zoom),
  };
}
/** A measure that a device kept, if it is one. */
export function sound(kept) {
  try {
    const { apart, x, y } = JSON.parse(kept);
    return apart > 0 && apart < 4 && Math.abs(x) < 4 && y > 0 && y < 4 ? { apart, x, y } : null;
  } catch {
    return null;
  }
}
