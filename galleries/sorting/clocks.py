"""The order of frames when clocks may be wrong: one stream per camera body, each in the order it was shot."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.sorting.codes import Code
from galleries.sorting.frames import FrameNumbers
from galleries.sorting.runs import repeats
from galleries.told import Told, told

_APART = 1000  # file numbers this far apart in one camera name belong to two bodies of one model
_WRAP = 9000  # a fall of more than this is the counter going over 9999
_EARLIEST = datetime.min


@dataclass(frozen=True)
class Stream:
    """The frames of one camera body in order; `seconds` from the first, None where the clock is silent or jumped."""

    name: str
    frames: tuple[FrameNumbers, ...]
    seconds: tuple[float | None, ...]
    note: Told | None = None

    def gap_before(self, index: int) -> float | None:
        """Seconds between a frame and the one before; None when unknown or against the order."""
        if not 0 < index < len(self.frames):
            return None
        before, after = self.seconds[index - 1], self.seconds[index]
        return None if before is None or after is None or after < before else after - before

    @cached_property
    def gaps(self) -> Floats:
        """Seconds before each frame; 0 where unknown."""
        return np.array([self.gap_before(i) or 0.0 for i in range(len(self.frames))])

    @cached_property
    def repeats(self) -> NDArray[np.bool_]:
        """Whether each frame is nearly the picture before it, as `runs` has it."""
        near = [repeats(after, before) for before, after in pairwise(self.frames)]
        return np.array([False, *near][: len(self.frames)], dtype=bool)

    @cached_property
    def usual_gap(self) -> float:
        """Median seconds between neighbours; 0 when no clock is known."""
        gaps = [g for i in range(1, len(self.frames)) if (g := self.gap_before(i)) is not None]
        return float(np.median(gaps)) if gaps else 0.0


def streams(frames: Iterable[FrameNumbers]) -> list[Stream]:
    """Split by camera and order each; the result does not depend on the order given."""
    by_camera: dict[str, list[FrameNumbers]] = defaultdict(list)
    for frame in frames:
        by_camera[frame.camera].append(frame)
    clocks: list[Stream] = []
    for name in sorted(by_camera):
        clocks += _of_one_camera(name, by_camera[name])
    return clocks


def _by_clock(frames: Sequence[FrameNumbers]) -> list[FrameNumbers]:
    return sorted(frames, key=lambda f: (f.captured_at or _EARLIEST, f.sequence or 0, f.id))


def _of_one_camera(name: str, frames: list[FrameNumbers]) -> list[Stream]:
    timed = [f for f in frames if f.captured_at is not None]
    numbered = [f for f in frames if f.sequence is not None]
    if len(numbered) < len(frames):
        if len(timed) == len(frames) or not numbered:
            return [_stream(name, _by_clock(frames), None)]
        ordered = sorted(frames, key=lambda f: (f.sequence is None, f.sequence or 0, f.captured_at or _EARLIEST, f.id))
        return [_stream(name, ordered, told(Code.NEITHER_CLOCK_NOR_NUMBER, camera=name))]
    by_number = _by_number(frames)
    if len(timed) == len(frames) and _agree(by_number):
        return [_stream(name, _by_clock(frames), None)]
    bodies = _bodies(frames)
    if len(bodies) > 1 and len(timed) == len(frames):
        names = [f"{name} ({i + 1})" for i in range(len(bodies))]
        several = told(Code.SEVERAL_BODIES, camera=name, bodies=len(bodies))
        return [_stream(n, _by_number(b), several) for n, b in zip(names, bodies, strict=True)]
    note = None if len(timed) < len(frames) else told(Code.JUMPED, camera=name)
    return [_stream(name, by_number, note)]


def _by_number(frames: Sequence[FrameNumbers]) -> list[FrameNumbers]:
    """By file number, a counter that went over its top unrolled (the largest hole is where it began)."""
    ordered = sorted(frames, key=lambda f: (f.sequence or 0, f.captured_at or _EARLIEST, f.id))
    numbers = [f.sequence or 0 for f in ordered]
    if numbers and numbers[-1] - numbers[0] >= _WRAP:
        holes = [(b - a, i) for i, (a, b) in enumerate(pairwise(numbers), start=1)]
        _, start = max(holes)
        ordered = ordered[start:] + ordered[:start]
    return ordered


def _agree(by_number: Sequence[FrameNumbers]) -> bool:
    """Whether the clock never runs backwards along the file numbers."""
    times = [f.captured_at or _EARLIEST for f in by_number]
    return all(a <= b for a, b in pairwise(times))


def _bodies(frames: Sequence[FrameNumbers]) -> list[list[FrameNumbers]]:
    """Ranges of file numbers far apart, each of which runs with the clock; one list when that is not so."""
    ordered = sorted(frames, key=lambda f: (f.sequence or 0, f.id))
    groups: list[list[FrameNumbers]] = [[ordered[0]]]
    for before, after in pairwise(ordered):
        if (after.sequence or 0) - (before.sequence or 0) > _APART:
            groups.append([])
        groups[-1].append(after)
    return groups if all(_agree(_by_number(group)) for group in groups) else [list(frames)]


def _stream(name: str, frames: Sequence[FrameNumbers], note: Told | None) -> Stream:
    start = next((f.captured_at for f in frames if f.captured_at is not None), None)
    seconds = tuple(
        None if f.captured_at is None or start is None else (f.captured_at - start).total_seconds() for f in frames
    )
    return Stream(name, tuple(frames), seconds, note)
