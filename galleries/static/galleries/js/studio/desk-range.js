// The frames of a look by where they stand in the sitting's range: a reading, and it may err.

/** Least first by "smile" or "intensity"; frames that were not read stay last, in the order they were taken. */
export function ordered(frames, by) {
  if (!by) return frames;
  const value = (frame) => frame.range?.[by] ?? Number.POSITIVE_INFINITY;
  return [...frames].sort((one, other) => (value(one) === value(other) ? 0 : value(one) - value(other)));
}
