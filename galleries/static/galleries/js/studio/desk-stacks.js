// Near-identical frames lie in a stack: closed it shows its best frame, which then stands for all of them.

/** Rows to lay: `stands` are the ids a row is for (more than one at a closed stack), `beneath` what it covers. */
export function stacked(frames, openRuns) {
  const runs = new Map();
  for (const frame of frames) if (frame.run !== null) runs.set(frame.run, [...(runs.get(frame.run) ?? []), frame]);
  const rows = [];
  const done = new Set();
  for (const frame of frames) {
    const run = frame.run === null ? [frame] : runs.get(frame.run);
    if (run.length < 2) rows.push(single(frame));
    else if (!done.has(frame.run)) {
      done.add(frame.run);
      const best = [...run].sort((a, b) => a.hidden - b.hidden || b.suggested - a.suggested || a.place - b.place);
      if (openRuns.has(frame.run))
        rows.push(...best.map((one, index) => ({ ...single(one), alike: index ? 0 : run.length, open: true })));
      else
        rows.push({
          frame: best[0],
          stands: best.map((one) => one.id),
          beneath: best.slice(1),
          alike: run.length,
          open: false,
        });
    }
  }
  return rows;
}

export const single = (frame) => ({ frame, stands: [frame.id], beneath: [], alike: 0, open: false });

/** Marks on frames that a closed stack covers, each side's kind once: [["s", "pick"], …]. */
export function marksBeneath(beneath) {
  const seen = new Map();
  for (const frame of beneath)
    for (const [side, kind] of Object.entries(frame.marks)) seen.set(side + kind, [side, kind]);
  return [...seen.values()];
}

/** Where one goes on from `id` in the order as it was: itself if it stays, else the next that does, else one before. */
export function onward(order, id, stays) {
  const at = order.indexOf(id);
  if (at < 0) return order.find(stays) ?? null;
  return order.slice(at).find(stays) ?? order.slice(0, at).reverse().find(stays) ?? null;
}
