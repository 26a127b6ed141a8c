// Heads side by side in panes: the eyes equally far apart in each, and no pane with a bar beside its picture.
const SHARE = 0.24; // of the pane's width between the pupils, where the pictures allow it

/** pairs: [frame {width, height, gap}, stage {clientWidth, clientHeight}] → the zoom of each, CSS to picture pixels. */
export function level(pairs) {
  const cover = pairs.map(([{ width, height }, { clientWidth, clientHeight }]) =>
    Math.max(clientWidth / width, clientHeight / height),
  );
  const wished = pairs.map(([{ width, gap }, { clientWidth }], i) =>
    gap ? (SHARE * clientWidth) / (gap * width) : cover[i],
  );
  const more = Math.max(1, ...wished.map((zoom, i) => cover[i] / zoom)); // so that the narrowest is filled too
  return wished.map((zoom, i) => (pairs[i][0].gap ? zoom * more : Math.max(zoom, cover[i])));
}
