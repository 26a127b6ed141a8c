"""When eyes count as closing and a frame as soft. Both are hints: say 'check the eyes', never 'blink'.

Openness is lid height over lid width, of the less open eye; sharpness is 1 over the width in pixels of the sharpest
edge at the nearer eye (see `imaging.face.reading`). Openness is held against what is usual for the person in the same
look, sharpness against the sharpest frames of that look, so that eyes narrow by nature, a lens soft by nature and
pictures that were enlarged are not marked down from end to end. Thresholds: common practice, no source; the figures
beside them were measured on painted frames and on portraits blurred and enlarged by the tests.
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
SOFT_SHARE = 0.6  # of the sharpness of the look's sharpest frames; a blur of 2.5 px (Gaussian) leaves 0.30 to 0.46
SHARP = 0.20  # what the sharpest frames of a look reach where focus was right and the picture was not enlarged
# dB of fine detail under which a picture holds less than its pixels could: portraits as shot have -12.4 at the least
# (also at half size, in a poor JPEG, noisy), enlarged 1.5 times and more, or blurred, -13.8 at the most.
ENLARGED = -13.0
SMALL = 2_500_000  # pixels under which sharpness on a screen says little about a print
_SHARPEST = 0.9  # the frame at this share of the order: one lucky frame does not set the measure


@dataclass(frozen=True)
class Usual:
    """What one person's frames in one look are held against: the median openness, and the sharpness that the sharpest
    tenth reaches. None is 'not known': less than five frames tell."""

    openness: float | None = None
    sharpest: float | None = None


def usual(frames: Iterable[FrameNumbers]) -> Usual:
    """What is usual in these frames."""
    known = list(frames)
    sharp = sorted(frame.sharpness for frame in known if frame.sharpness is not None)
    sharpest = sharp[int(_SHARPEST * (len(sharp) - 1))] if len(sharp) >= LEAST_KNOWN else None
    return Usual(usual_openness(known), sharpest)


def usual_openness(frames: Iterable[FrameNumbers]) -> float | None:
    """The median openness of one person's frames; None when less than five are known."""
    known = [frame.openness for frame in frames if frame.openness is not None]
    return median(known) if len(known) >= LEAST_KNOWN else None


def eyes_closed(frame: FrameNumbers, usual: float | None) -> bool | None:
    """Whether the less open eye is closing, against this person's usual openness; None when the lids are unknown."""
    if frame.openness is None:
        return None
    return frame.openness < (CLOSED if usual is None else min(CLOSED_SHARE * usual, NEVER_CLOSED))


def is_soft(frame: FrameNumbers, sharpest: float | None) -> bool | None:
    """Whether the eye is far behind the sharpest of its look; where those are unknown, what the reading says by itself.
    None: unknown."""
    if frame.sharpness is None or sharpest is None:
        return frame.soft
    return frame.sharpness < SOFT_SHARE * sharpest


def soft_throughout(usual: Usual) -> bool:
    """Whether not even the sharpest eyes of a look are sharp: said once of the look, never of each of its frames."""
    return usual.sharpest is not None and usual.sharpest < SHARP
