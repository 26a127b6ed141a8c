"""Where each frame of a sitting stands between serious and smiling, and between open and intense.

A reading of mouth, brows and lids, and it may err: a turned or lowered head, a beard, speech. Smiling is read against
neutral portraits; open and intense against the person's own frames, because brows differ more from person to person
than from frame to frame.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

# Mean and spread of 13 neutral studio portraits, every second one of tests/benchmarks/eyes (mouth width and lift of
# `imaging.face.expression.features`); the other 13 are what tests/sorting/test_expression.py reports on.
WIDTH, LIFT = (0.574, 0.027), (-0.005, 0.016)
_BROAD = 5.0  # spreads over neutral at which a smile is as broad as this counts; a laugh shows 5 to 7
_LIFTED = 2.0  # a lowered head lifts the corners without a smile: no more lift counts than the width bears out
_BROW, _LID = 0.02, 0.03  # a plain difference of one person's brows and lids; common practice, no source
_SHUT = 0.2  # openness under which lids say nothing about intensity (see `sorting.eyes`)
_LEAST = 5  # frames of a sitting from which its middle is known
SLIGHT, SMILING = 0.3, 0.7
OPEN, INTENSE = 0.35, 0.65


@dataclass(frozen=True)
class Numbers:
    """Of one frame: `imaging.face.expression.features` and the openness of the lids, each empty or None if unread."""

    features: Sequence[float] = ()
    openness: float | None = None


@dataclass(frozen=True)
class Place:
    """smile: 0 serious to 1 smiling; intensity: 0 open to 1 intense, 0.5 the middle of the sitting. None: not read."""

    smile: float | None = None
    intensity: float | None = None

    @property
    def smile_band(self) -> str:
        """serious, slight or smiling; '' when not read."""
        if self.smile is None:
            return ""
        return "smiling" if self.smile >= SMILING else "slight" if self.smile >= SLIGHT else "serious"

    @property
    def intensity_band(self) -> str:
        """open or intense; '' in the middle, or when not read."""
        if self.intensity is None:
            return ""
        return "intense" if self.intensity >= INTENSE else "open" if self.intensity <= OPEN else ""


def smile(features: Sequence[float]) -> float | None:
    """0 to 1, see `Place`."""
    if len(features) < 2:
        return None
    wide, lifted = (features[0] - WIDTH[0]) / WIDTH[1], (features[1] - LIFT[0]) / LIFT[1]
    return _share((0.6 * wide + 0.4 * min(lifted, wide + _LIFTED)) / _BROAD)


def places(frames: Mapping[int, Numbers]) -> dict[int, Place]:
    """Each frame's place, those of one sitting together."""
    told = {key: one for key, one in frames.items() if len(one.features) > 2 and _sees(one)}
    known = len(told) >= _LEAST
    brow = median(one.features[2] for one in told.values()) if known else 0.0
    lid = median(one.openness or 0.0 for one in told.values()) if known else 0.0
    return {
        key: Place(smile(one.features), _intensity(one, brow, lid) if known and key in told else None)
        for key, one in frames.items()
    }


def _sees(one: Numbers) -> bool:
    return one.openness is not None and one.openness >= _SHUT


def _intensity(one: Numbers, brow: float, lid: float) -> float:
    lower = (brow - one.features[2]) / _BROW
    narrower = (lid - (one.openness or 0.0)) / _LID
    return _share(0.5 + (lower + narrower) / 8)


def _share(value: float) -> float:
    return round(min(1.0, max(0.0, value)), 3)


def in_order(keys: Sequence[int], told: Mapping[int, Place], by: str) -> list[int]:
    """The keys by `smile` or `intensity`, least first; those not read stay last, as they were."""

    def rank(key: int) -> tuple[bool, float]:
        value = getattr(told.get(key, Place()), by)
        return value is None, value or 0.0

    return sorted(keys, key=rank)


def differences(face: Mapping[str, Any]) -> tuple[float, ...]:
    """Of a face as a reading stores it, {} for none: lids, turn, tilt, and how far the mouth lies from the eyes, each
    in plain differences; () where one of them is unknown."""
    right, left, mouth = face.get("right_eye"), face.get("left_eye"), face.get("mouth")
    turn, tilt = face.get("yaw_hint"), face.get("roll_deg")
    if right is None or left is None or mouth is None or turn is None or tilt is None:
        return ()
    eye_distance = math.hypot(left[0] - right[0], left[1] - right[1])
    if not eye_distance:
        return ()
    lids = [value for side in ("right", "left") if (value := face.get(f"{side}_openness")) is not None]
    opening = sum(lids) / len(lids) if lids else 0.28
    return opening / 0.08, turn / 0.25, tilt / 8, (mouth[1] - (right[1] + left[1]) / 2) / eye_distance / 0.12
