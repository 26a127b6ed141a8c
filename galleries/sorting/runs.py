"""Runs: near-identical neighbours stacked, the best of each first. Nothing is hidden by it.

Frames of one run are ranked against each other only, so a person whose eyes are narrow by nature is not marked down:
openness counts in relation to the run's own widest eyes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from galleries.sorting.codes import Code
from galleries.sorting.eyes import Usual, eyes_closed, usual
from galleries.sorting.frames import FrameNumbers
from galleries.told import Told, told

NEAR_BITS = 10  # of 64 that may differ between neighbours of a run
NEAR_SECONDS = 6.0
NEAR_BITS_UNTIMED = 4
MOST_FROM_FIRST = 16  # bits a run may drift away from its first frame


@dataclass(frozen=True)
class Run:
    """Ids of near-identical frames in the order shot, the best of them, and why it is shown first."""

    frames: tuple[str, ...]
    best: str
    reason: Told


def find_runs(frames: Sequence[FrameNumbers]) -> list[Run]:
    """Stack frames of one look, given in their order; every frame is in exactly one run.

    Neighbours belong together when their hashes differ in at most 10 of 64 bits and no more than 6 s lie between
    them (4 bits where a clock is silent, runs backwards or the cameras differ); a run ends where it has drifted more
    than 16 bits from its first frame.
    """
    groups: list[list[FrameNumbers]] = []
    for frame in frames:
        if groups and _together(groups[-1], frame):
            groups[-1].append(frame)
        else:
            groups.append([frame])
    known = usual(frames)
    return [_run(group, known) for group in groups]


def _together(group: list[FrameNumbers], frame: FrameNumbers) -> bool:
    first = group[0].hash
    if first is None or frame.hash is None or (first ^ frame.hash).bit_count() > MOST_FROM_FIRST:
        return False
    return repeats(frame, group[-1])


def repeats(frame: FrameNumbers, last: FrameNumbers) -> bool:
    """Whether a frame is nearly the picture before it."""
    if frame.hash is None or last.hash is None or last.monochrome != frame.monochrome:
        return False
    apart = (last.hash ^ frame.hash).bit_count()
    before, after = last.captured_at, frame.captured_at
    if before is None or after is None or last.camera != frame.camera or after < before:
        return apart <= NEAR_BITS_UNTIMED
    return apart <= NEAR_BITS and (after - before).total_seconds() <= NEAR_SECONDS


def _run(group: list[FrameNumbers], usual: Usual) -> Run:
    ranked = sorted(group, key=lambda f: rank_key(f, usual), reverse=True)
    best = ranked[0]
    ids = tuple(f.id for f in group)
    if len(group) == 1:
        return Run(ids, best.id, told(Code.SINGLE))
    opens = eyes_closed(best, usual) is False and any(eyes_closed(f, usual) for f in group)
    sharp = [f.sharpness for f in group if f.sharpness is not None]
    sharpest = best.sharpness is not None and len(sharp) > 1 and best.sharpness == max(sharp)
    return Run(ids, best.id, told(_REASONS[opens, sharpest]))


_REASONS = {
    (True, True): Code.OPEN_AND_SHARPEST,
    (True, False): Code.OPEN_EYES,
    (False, True): Code.SHARPEST_EYE,
    (False, False): Code.FIRST_OF_RUN,
}


def rank_key(frame: FrameNumbers, usual: Usual) -> tuple[int, float]:
    """Larger is better: eyes open before unknown before closing, then the sharper eye. Ties keep the order shot."""
    closed = eyes_closed(frame, usual)
    state = 1 if closed is None else (0 if closed else 2)
    return state, frame.sharpness if frame.sharpness is not None else -1.0
