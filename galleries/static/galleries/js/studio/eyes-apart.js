// Both eyes of a close face where one strip would cut them off: each in the middle of a half of the box.
const GAP = 4; // px between the halves, as in the style sheet
const AROUND = 1.7; // widths of an eye's distance that both eyes need, lids and lashes with them

// [[left, top], [left, top]] of the whole picture in each half, in px; [] where both eyes fit beside each other, or
// where they are not known. `pupils`: fractions of the picture, the left one first. The picture always fills its half.
export function eachInItsHalf(box, picture, pupils) {
  if (pupils.length !== 2) return [];
  const apart = Math.abs(pupils[1][0] - pupils[0][0]) * picture.width;
  if (AROUND * apart <= box.width) return [];
  const half = (box.width - GAP) / 2;
  return pupils.map(([x, y]) => [middled(half, picture.width, x), middled(box.height, picture.height, y)]);
}

function middled(room, size, at) {
  if (size <= room) return Math.round((room - size) / 2);
  return Math.round(Math.min(0, Math.max(room - size, room / 2 - at * size)));
}
