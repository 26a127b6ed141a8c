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
NEVER_CLOSED = 0.24  # no eye is called closing by its opening alone from here on, however wide it usually is
SOFT_SHARE = 0.6  # of the sharpness of the look's sharpest frames; a blur of 2.5 px (Gaussian) leaves 0.30 to 0.46
SHARP = 0.20  # what the sharpest frames of a look reach where focus was right and the picture was not enlarged
# dB of fine detail under which a picture holds less than its pixels could: portraits as shot have -12.4 at the least
# (also at half size, in a poor JPEG, noisy), enlarged 1.5 times and more, or blurred, -13.8 at the most.
ENLARGED = -13.0
SMALL = 2_500_000  # pixels under which sharpness on a screen says little about a print
_SHARPEST = 0.9  # the frame at this share of the order: one lucky frame does not set the measure

# A lid that came down over the iris: the opening tells a little, the distance from iris to lid tells much. Of 26 real
# portraits with lids brought down by half 24 have both; of 130 open ones turned, noisy, darker or smaller none.
HALF_OPEN, HALF_REFLEX = 0.9, 0.6  # of the usual


@dataclass(frozen=True)
class Usual:
    """What one person's frames in one look are held against: the median openness and distance from iris to lid, and
    the sharpness that the sharpest tenth reaches. None is 'not known': less than five frames tell."""

    openness: float | None = None
    sharpest: float | None = None
    reflex: float | None = None


def usual(frames: Iterable[FrameNumbers]) -> Usual:
    """What is usual in these frames."""
    known = list(frames)
    sharp = sorted(frame.sharpness for frame in known if frame.sharpness is not None)
    sharpest = sharp[int(_SHARPEST * (len(sharp) - 1))] if len(sharp) >= LEAST_KNOWN else None
    return Usual(_median(frame.openness for frame in known), sharpest, _median(frame.reflex for frame in known))


def _median(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if len(known) >= LEAST_KNOWN else None


def eyes_closed(frame: FrameNumbers, usual: Usual) -> bool | None:
    """Whether the less open eye is closing, against what is usual for this person; None when the lids are unknown."""
    if frame.openness is None:
        return None
    if usual.openness is None:
        return frame.openness < CLOSED
    return frame.openness < min(CLOSED_SHARE * usual.openness, NEVER_CLOSED) or _lid_is_down(frame, usual)


def _lid_is_down(frame: FrameNumbers, usual: Usual) -> bool:
    if frame.openness is None or frame.reflex is None or usual.openness is None or usual.reflex is None:
        return False
    return frame.openness < HALF_OPEN * usual.openness and frame.reflex < HALF_REFLEX * usual.reflex


def is_soft(frame: FrameNumbers, sharpest: float | None) -> bool | None:
    """Whether the eye is far behind the sharpest of its look; where those are unknown, what the reading says by itself.
    None: unknown."""
    if frame.sharpness is None or sharpest is None:
        return frame.soft
    return frame.sharpness < SOFT_SHARE * sharpest


def soft_throughout(usual: Usual) -> bool:
    """Whether not even the sharpest eyes of a look are sharp: said once of the look, never of each of its frames."""
    return usual.sharpest is not None and usual.sharpest < SHARP
