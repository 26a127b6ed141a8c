"""When eyes count as closing and a frame as soft. Both are hints: say 'check the eyes', never 'blink'.

Openness is lid height over lid width, of the less open eye; sharpness is 1 over the width in pixels of the sharpest
edge at the nearer eye (see `imaging.face.reading`). Both are held against what is usual for the person in the same
look, so that eyes narrow by nature and a lens soft by nature are not marked down. Thresholds: common practice, no
source; the figures beside them were measured on painted frames.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from galleries.sorting.frames import FrameNumbers

LEAST_KNOWN = 5  # frames whose lids must be known before anything is called usual
CLOSED_SHARE = 0.62  # of the usual openness under which an eye is taken as closing
CLOSED = 0.20  # openness called closing where nothing is usual; a smiling squint measures 0.19 to 0.20
NEVER_CLOSED = 0.24  # no eye is called closing from here on, however wide the person's eyes usually are
SOFT_SHARE = 0.5  # of the usual sharpness, where the reading itself cannot say


@dataclass(frozen=True)
class Usual:
    """The medians of one person's frames in one look; None is 'not known'."""

    openness: float | None = None
    sharpness: float | None = None


def usual(frames: Iterable[FrameNumbers]) -> Usual:
    """What is usual in these frames."""
    known = list(frames)
    sharp = [frame.sharpness for frame in known if frame.sharpness is not None]
    return Usual(usual_openness(known), median(sharp) if sharp else None)


def usual_openness(frames: Iterable[FrameNumbers]) -> float | None:
    """The median openness of one person's frames; None when less than five are known."""
    known = [frame.openness for frame in frames if frame.openness is not None]
    return median(known) if len(known) >= LEAST_KNOWN else None


def eyes_closed(frame: FrameNumbers, usual: float | None) -> bool | None:
    """Whether the less open eye is closing, against this person's usual openness; None when the lids are unknown."""
    if frame.openness is None:
        return None
    return frame.openness < (CLOSED if usual is None else min(CLOSED_SHARE * usual, NEVER_CLOSED))


def is_soft(frame: FrameNumbers, usual: float | None) -> bool | None:
    """What the reading says; where it cannot say, whether the eye is far under the usual sharpness. None: unknown."""
    if frame.soft is not None:
        return frame.soft
    if frame.sharpness is None or usual is None:
        return None
    return frame.sharpness < SOFT_SHARE * usual
