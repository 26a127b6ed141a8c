// How tall the pictures are until somebody chose: as tall as the rows allow, and then whole from edge to edge.
export const GAP = 4;
export const EDGE = 17; // pixels: what is written beneath a picture
const ROWS = 4;
const HEADS = 2; // heads of looks among the rows in sight
const HEAD = 32; // pixels, with the space below
const PHONE = 640;
const PHONE_COLUMNS = 3;

/** In pixels of the page; `ratio` is width over height of most pictures. */
export function fitting({ width, height, ratio }) {
  const most = ((height - HEADS * HEAD) / ROWS - EDGE - GAP) * ratio;
  const columns = width < PHONE ? PHONE_COLUMNS : Math.ceil((width + GAP) / (Math.max(most, 40) + GAP));
  return Math.floor((width + GAP) / columns - GAP - 0.1) / ratio;
}

/** The middle one of the frames' shapes. */
export function usualRatio(frames) {
  const ratios = frames.map(({ w, h }) => w / h).sort((a, b) => a - b);
  return ratios[ratios.length >> 1] ?? 2 / 3;
}
