"""Looks proposed from what is in the frames: backdrop, wardrobe, light and treatment, with time as a hint only.

Each camera body is a stream of its own, in the order of its clock, or of its file numbers where the clock jumped
(`clocks`), so a wrong clock cannot mix frames. In a stream a boundary is where the medians of the frames just before
and just after differ abruptly: a pause changes nothing by itself, a slow drift of the light neither, a change of
outfit without a pause does. Frames that only got less light are brought up first (`exposure`). A pause lowers the bar
for a change that is there. Only where the content is unknown a long pause alone makes a boundary. Then each frame is
held against all set-ups of its stream (`setups`), which finds looks shot in turns. Further cameras are laid against
the first by content (each frame goes to a look of the main stream, never back in order); the difference of their
clocks follows from that and is said. By it the frames of both are put into one order of time, which places those that
tell nothing of themselves.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from galleries.imaging.arrays import Floats
from galleries.sorting import content, setups
from galleries.sorting.alignment import Placed, lay_against
from galleries.sorting.clocks import Stream, streams
from galleries.sorting.codes import Code
from galleries.sorting.cuts import LEAST_PAUSE, STEP, cut_stream
from galleries.sorting.exposure import levelled
from galleries.sorting.frames import FrameNumbers
from galleries.sorting.setups import ALIKE
from galleries.told import Told, told


@dataclass(frozen=True)
class Boundary:
    """A look begins at frame `first`, after frame `last` of the look before; why; how clearly (>= 1)."""

    last: str
    first: str
    reasons: tuple[Told, ...]
    strength: float


@dataclass(frozen=True)
class ProposedLook:
    """Frames of one look in order; `like` is the number of an earlier look (from 0) it comes back to;
    `title` is what to call one that nobody has named yet."""

    frames: tuple[str, ...]
    monochrome: bool
    like: int | None
    title: tuple[Told, ...]


@dataclass(frozen=True)
class LookProposal:
    """Looks in order, the boundaries between them (one fewer), and what was found about clocks."""

    looks: tuple[ProposedLook, ...]
    boundaries: tuple[Boundary, ...]
    notes: tuple[Told, ...]

    @property
    def order(self) -> tuple[str, ...]:
        """Every frame in the order proposed."""
        return tuple(frame for look in self.looks for frame in look.frames)


def propose_looks(frames: Sequence[FrameNumbers]) -> LookProposal:
    """Propose looks; the order in which frames are given does not matter. Raises ValueError on a repeated id."""
    if len({f.id for f in frames}) != len(frames):
        raise ValueError("Two frames have the same id.")
    if not frames:
        return LookProposal((), (), ())
    cut_streams = [(stream, cut_stream(stream)) for stream in map(levelled, streams(frames))]
    cut_streams.sort(key=lambda item: (-len(item[0].frames), -len(item[1]), item[0].name))
    main, starts = cut_streams[0]
    notes = list(dict.fromkeys(stream.note for stream, _ in cut_streams if stream.note))
    edges = [*starts, len(main.frames)]
    looks = [Placed(main, list(range(a, b)), 0.0) for a, b in itertools.pairwise(edges)]
    groups = [[look] for look in looks]
    for stream, own in cut_streams[1:]:
        groups, note = lay_against(groups, stream, own)
        if note:
            notes.append(note)
    return _assemble(groups, tuple(notes))


def _assemble(groups: list[list[Placed]], notes: tuple[Told, ...]) -> LookProposal:
    tables = [np.concatenate([content.table(part.frames()) for part in group]) for group in groups]
    middles = [content.middle(t) for t in tables]
    orders = [_in_order(group) for group in groups]
    looks: list[ProposedLook] = []
    boundaries: list[Boundary] = []
    for i, (row, order) in enumerate(zip(middles, orders, strict=True)):
        like = None
        for j in range(i - 2, -1, -1):
            if content.comparable(row, middles[j]) and content.difference(row, middles[j]).size < ALIKE:
                like = looks[j].like if looks[j].like is not None else j
                break
        mono = bool(row[8] > 0.5)
        looks.append(ProposedLook(tuple(f.id for f in order), mono, like, _title(row, mono)))
        if i:
            boundaries.append(_boundary(groups[i - 1], groups[i], middles[i - 1], row, orders[i - 1], order))
    return LookProposal(tuple(looks), tuple(boundaries), notes)


def _in_order(group: list[Placed]) -> list[FrameNumbers]:
    """Frames of all cameras of a look by corrected time; by their place in the look where the clock is silent."""
    keyed = []
    for part in group:
        count = len(part.indices)
        for k, i in enumerate(part.indices):
            seconds = part.stream.seconds[i]
            when = None if seconds is None else seconds + part.shift
            keyed.append((when, k / count, part.stream.frames[i]))
    if all(when is not None for when, _, _ in keyed) and all(part.in_time() for part in group):
        return [f for _, _, f in sorted(keyed, key=lambda item: (item[0] or 0.0, item[2].id))]
    return [f for _, _, f in sorted(keyed, key=lambda item: (item[1], item[2].id))]


def _boundary(
    left: list[Placed],
    right: list[Placed],
    was: Floats,
    now: Floats,
    before: list[FrameNumbers],
    after: list[FrameNumbers],
) -> Boundary:
    change = content.difference(was, now)
    reasons = content.reasons(was, now, change)
    joints = [(a, b) for a in left for b in right if a.stream is b.stream]
    pause = _gap_between(*joints[0]) if joints else None
    if not content.comparable(was, now):
        reasons.append(told(Code.PAUSE_ALONE))
    if pause is not None and pause >= LEAST_PAUSE:
        reasons.append(told(Code.AFTER_PAUSE, pause_minutes=round(pause / 60)))
    if not reasons:
        reasons.append(told(Code.SEVERAL_SMALL))
    if content.comparable(was, now):
        reasons = [*_unsure(joints, np.stack((was, now)), before, after), *reasons]  # first: the desk shows one line
    return Boundary(before[-1].id, after[0].id, tuple(reasons), round(max(1.0, change.size / STEP), 2))


def _unsure(
    joints: list[tuple[Placed, Placed]], sides: Floats, before: list[FrameNumbers], after: list[FrameNumbers]
) -> list[Told]:
    """What is to be said where frames beside the boundary may be of either look, in any camera that has frames of both
    looks; where none has, in the order in which they are shown."""
    either = [
        _unsure_at(right.stream, right.indices[0], sides)
        for left, right in joints
        if right.indices[0] == left.indices[-1] + 1
    ]
    if not joints:
        ends = before[-setups.NEARBY - 1 :]
        both = [*ends, *after[: setups.NEARBY + 1]]
        either = [setups.unsure(both, np.zeros(len(both)), len(ends), sides)]
    match any(earlier for earlier, _ in either), any(later for _, later in either):
        case True, True:
            return [told(Code.MAYBE_EITHER)]
        case True, False:
            return [told(Code.MAYBE_EARLIER)]
        case False, True:
            return [told(Code.MAYBE_LATER)]
    return []


def _unsure_at(stream: Stream, place: int, sides: Floats) -> tuple[bool, bool]:
    first = max(0, place - setups.NEARBY - 1)
    part = stream.frames[first : place + setups.NEARBY + 1]
    return setups.unsure(part, setups.change_hints(stream, content.table(part), first), place - first, sides)


def _gap_between(left: Placed, right: Placed) -> float | None:
    return left.stream.gap_before(right.indices[0]) if right.indices[0] == left.indices[-1] + 1 else None


def _title(row: Floats, mono: bool) -> tuple[Told, ...]:
    """What to call a look nobody has named yet."""
    parts = []
    if not np.isnan(row[3:6]).any():
        parts.append(told(Code.WARDROBE, wardrobe_colour=content.colour_name(row[3:6])))
    if not np.isnan(row[0:3]).any():
        parts.append(told(Code.BACKDROP, backdrop_colour=content.colour_name(row[0:3])))
    if mono:
        parts.append(told(Code.MONOCHROME))
    return tuple(parts) or (told(Code.NOT_READ),)
