// Which frames the desk shows: every condition that is on must hold, in one look or in all of them.
const CONDITIONS = {
  hidden: (frame) => frame.hidden,
  shown: (frame) => !frame.hidden,
  suggested: (frame) => frame.suggested,
  changed: (frame) => frame.changed,
  unmarked: (frame) => !frame.hidden && !Object.keys(frame.marks).length,
};

export const holds = (frame, name) => CONDITIONS[name]?.(frame) ?? frame.flags.includes(name);
const inLook = (frame, look) => look === null || (frame.look ?? 0) === look;

export const passes = (frame, { names, look }) => inLook(frame, look) && names.every((name) => holds(frame, name));

/** How many frames are left when each of `offered` is on besides those that are: {name: number}. */
export function counts(frames, offered, { names, look }) {
  const left = frames.filter((frame) => passes(frame, { names, look }));
  return Object.fromEntries(offered.map((name) => [name, left.filter((frame) => holds(frame, name)).length]));
}

/** Near-identical frames lie in stacks unless what is asked for tells frames of one stack apart. */
export const stacksHold = ({ names }) => names.every((name) => name === "shown");
