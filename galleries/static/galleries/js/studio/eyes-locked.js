// Two pictures of one face, shown so that the eyes lie at one place and are equally large. Pure.

/** What the other picture shows when the first shows `view` ({zoom, x, y}, zoom in page pixels per picture pixel). */
export function follow(view, first, other) {
  if (!first.eyes || !other.eyes || !first.gap || !other.gap) {
    return { zoom: (view.zoom * first.w) / other.w, x: view.x, y: view.y };
  }
  const [span, theirs] = [first.gap * first.w, other.gap * other.w]; // pixels between the pupils
  const along = ((view.x - first.eyes[0]) * first.w) / span;
  const down = ((view.y - first.eyes[1]) * first.h) / span;
  return {
    zoom: (view.zoom * span) / theirs,
    x: other.eyes[0] + (along * theirs) / other.w,
    y: other.eyes[1] + (down * theirs) / other.h,
  };
}
