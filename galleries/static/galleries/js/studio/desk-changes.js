// What people's marks were when the photographer last said that they had seen them, kept in this browser.
const told = (marks) => ["s", "r"].map((side) => marks[side] ?? "").join(",");
const NONE = told({});

/** {frame: "subject's kind,representation's kind"} of the frames that are marked. */
export const marksOf = (frames) =>
  Object.fromEntries(
    frames.filter((frame) => told(frame.marks) !== NONE).map((frame) => [frame.id, told(frame.marks)]),
  );

/** Whether a frame's marks are other than they were in `before`; a mark that went is a change as well. */
export const changedSince = (before, frame) => (before[frame.id] ?? NONE) !== told(frame.marks);
