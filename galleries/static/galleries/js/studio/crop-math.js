// The arithmetic of a crop, in whole pixels of the upright picture. Shape rule as on the server: one side follows
// from the other by rounding half up. A tilt turns the crop clockwise about its middle.
const half = (value) => Math.floor(value + 0.5);

export const heightFor = (width, [w, h]) => Math.max(1, half((width * h) / w));
export const widthFor = (height, [w, h]) => Math.max(1, half((height * w) / h));

export function corners({ x, y, width, height, tilt = 0 }) {
  const angle = (tilt * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const [cx, cy] = [x + width / 2, y + height / 2];
  return [
    [-1, -1],
    [1, -1],
    [1, 1],
    [-1, 1],
  ].map(([sx, sy]) => {
    const [u, v] = [(sx * width) / 2, (sy * height) / 2];
    return [cx + cos * u - sin * v, cy + sin * u + cos * v];
  });
}

export function inside(crop, frame) {
  const flat = crop.x >= 0 && crop.y >= 0 && crop.x + crop.width <= frame.width && crop.y + crop.height <= frame.height;
  return (
    flat && corners(crop).every(([x, y]) => x >= -0.5 && y >= -0.5 && x <= frame.width + 0.5 && y <= frame.height + 0.5)
  );
}

// The nearest place inside the frame; a turned crop needs room for its corners.
export function fit(crop, frame) {
  const angle = (Math.abs(crop.tilt || 0) * Math.PI) / 180;
  const reachX = (crop.width * Math.cos(angle) + crop.height * Math.sin(angle)) / 2;
  const reachY = (crop.width * Math.sin(angle) + crop.height * Math.cos(angle)) / 2;
  const within = (middle, reach, whole) =>
    2 * reach > whole ? whole / 2 : Math.min(Math.max(middle, reach), whole - reach);
  const x = half(within(crop.x + crop.width / 2, reachX, frame.width) - crop.width / 2);
  const y = half(within(crop.y + crop.height / 2, reachY, frame.height) - crop.height / 2);
  return {
    ...crop,
    x: Math.min(Math.max(0, x), frame.width - crop.width),
    y: Math.min(Math.max(0, y), frame.height - crop.height),
  };
}

export const moved = (crop, dx, dy, frame) => fit({ ...crop, x: half(crop.x + dx), y: half(crop.y + dy) }, frame);

const LEAST = 64;

// Moved inside the frame, and made smaller about its middle while a turned corner still leaves it.
function settled(crop, frame) {
  let next = fit(crop, frame);
  for (
    let width = crop.width;
    !inside(next, frame) && width > LEAST;
    width -= Math.max(1, Math.round(crop.width / 200))
  ) {
    const height = heightFor(width, crop.ratio);
    next = fit(
      {
        ...crop,
        width,
        height,
        x: half(crop.x + (crop.width - width) / 2),
        y: half(crop.y + (crop.height - height) / 2),
      },
      frame,
    );
  }
  return next;
}

// Another width about the same middle, as large as the frame allows.
export function sized(crop, width, frame) {
  let wide = Math.min(Math.max(LEAST, half(width)), frame.width);
  let high = heightFor(wide, crop.ratio);
  if (high > frame.height) {
    high = frame.height;
    wide = Math.min(widthFor(high, crop.ratio), frame.width);
  }
  return settled(
    {
      ...crop,
      width: wide,
      height: high,
      x: half(crop.x + (crop.width - wide) / 2),
      y: half(crop.y + (crop.height - high) / 2),
    },
    frame,
  );
}

// A corner is pulled; the opposite corner stays where it is. The larger of both pulls counts.
export function resized(crop, grip, dx, dy, frame) {
  const toX = grip.includes("w") ? -dx : dx;
  const toY = (grip.includes("n") ? -dy : dy) * (crop.width / crop.height);
  const most = Math.min(
    grip.includes("w") ? crop.x + crop.width : frame.width - crop.x,
    widthFor(grip.includes("n") ? crop.y + crop.height : frame.height - crop.y, crop.ratio),
  );
  let width = Math.min(Math.max(LEAST, half(crop.width + (Math.abs(toX) > Math.abs(toY) ? toX : toY))), most);
  let height = heightFor(width, crop.ratio);
  const tall = grip.includes("n") ? crop.y + crop.height : frame.height - crop.y;
  if (height > tall) {
    width -= 1;
    height = heightFor(width, crop.ratio);
  }
  return {
    ...crop,
    width,
    height,
    x: grip.includes("w") ? crop.x + crop.width - width : crop.x,
    y: grip.includes("n") ? crop.y + crop.height - height : crop.y,
  };
}

// A tilt within ±15°; when a corner would leave the frame, the crop moves, and shrinks if it must.
export function clampTilt(crop, tilt, frame) {
  return settled({ ...crop, tilt: Math.round(Math.min(15, Math.max(-15, tilt)) * 10) / 10 }, frame);
}
