// How tall the pictures are until somebody chose: as tall as four rows of them allow, the heads of their looks counted.
// Where there is height, a sitting whose looks fill no row so is given the width, until its widest look does, three
// rows in sight. One that can be seen whole is, as tall as that allows.
export const GAP = 4;
export const EDGE = 17; // pixels: what is written beneath a picture, in letters of the usual size
const ROWS = 4;
const HEADS = 2; // heads of looks among the rows in sight
const HEAD = 32; // pixels, with the space below
const INSIDE = 10; // pixels: a strip's own edges, left and right together, and what rounding takes
const TALLEST = 592;
const LEAST = 72;
const STEP = 8;
const PHONE = 560;
const PHONE_COLUMNS = 3;
const ROOMY = { rows: 3, height: 820 }; // pixels: below it, four rows stay

/**
 * In pixels of the page; `looks`: each look's pictures, as width over height, as they are laid; `letters`: how much
 * larger than usual they are, where fewer rows stand between more words.
 */
export function fitting({ width, height, looks, letters = 1 }) {
  const rows = inRows(width - INSIDE, height, usualRatio(looks.flat()), letters);
  if (width < PHONE || !looks.length) return rows;
  const roomy = height >= ROOMY.height;
  let least = Math.max(rows, roomy ? acrossWidth(width, height, looks, letters) : 0);
  const wanted = Math.max(1, Math.round((roomy ? ROOMY.rows : ROWS) / letters ** 2));
  while (least > LEAST && inSight(looks, least, width, height, letters) < wanted) least -= 2;
  for (let tall = TALLEST; tall > least; tall -= STEP) if (laid(looks, tall, width, letters) <= height) return tall;
  return least;
}

function inRows(width, height, ratio, letters) {
  const rows = Math.max(1, Math.round(ROWS / letters ** 2));
  const most = ((height - Math.min(HEADS, rows) * HEAD * letters) / rows - EDGE * letters - GAP) * ratio;
  const columns = width < PHONE ? PHONE_COLUMNS : Math.ceil((width + GAP) / (Math.max(most, 40) + GAP));
  return Math.floor((width + GAP) / columns - GAP - 0.1) / ratio;
}

/** As tall as the widest look may be to lie in one row, while there are rows enough. */
function acrossWidth(width, height, looks, letters) {
  const widest = Math.min(...looks.map((ratios) => (width - stripWidth(ratios, 0)) / sum(ratios)));
  return Math.floor(Math.min(widest, height / ROOMY.rows - (HEAD + EDGE) * letters - GAP));
}

const sum = (numbers) => numbers.reduce((one, other) => one + other, 0);

/** How wide a look's strip would lie in one row. */
export const stripWidth = (ratios, tall) => INSIDE + sum(ratios) * tall + (ratios.length - 1) * GAP;

/** How many rows each line of strips has, those that fit beside each other in one line. */
function lines(looks, tall, width) {
  const rows = [];
  let left = 0; // what the line being filled has yet
  for (const ratios of looks) {
    const wide = stripWidth(ratios, tall);
    if (wide <= left) left -= wide + GAP;
    else {
      rows.push(rowsOf(ratios, tall, width - INSIDE));
      left = width - Math.min(wide, width) - GAP;
    }
  }
  return rows;
}

/** How high all strips stand. */
const laid = (looks, tall, width, letters) =>
  sum(lines(looks, tall, width).map((rows) => HEAD * letters + rows * (tall + EDGE * letters + GAP)));

/** How many rows are whole in that height; all that there are count as enough. */
function inSight(looks, tall, width, height, letters) {
  const row = tall + EDGE * letters + GAP;
  let left = height;
  let seen = 0;
  for (const rows of lines(looks, tall, width)) {
    left -= HEAD * letters;
    const whole = Math.min(rows, Math.max(0, Math.floor(left / row)));
    seen += whole;
    if (whole < rows) return seen;
    left -= rows * row;
  }
  return Number.POSITIVE_INFINITY;
}

function rowsOf(ratios, tall, width) {
  let rows = 1;
  let left = width;
  for (const ratio of ratios) {
    const wide = ratio * tall;
    if (wide > left && left < width) {
      rows += 1;
      left = width;
    }
    left -= wide + GAP;
  }
  return rows;
}

/** The middle one of the frames' shapes. */
export function usualRatio(ratios) {
  const sorted = [...ratios].sort((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? 2 / 3;
}
