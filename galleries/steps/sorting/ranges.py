"""Where the frames of a sitting stand between serious and smiling, open and intense: from their stored readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping

from galleries.models import Sitting
from galleries.sorting.expression import Place
from galleries.steps.sorting.readings import readings_of


def places_of(sitting: Sitting) -> dict[int, Place]:
    """Every frame's place, not to be changed. The whole sitting is the measure, whoever may see which part of it."""
    return readings_of(sitting).places


def counted(told: Mapping[int, Place], frames: Iterable[int]) -> Counter[str]:
    """How many of these frames stand in each band; 'unread': those without a reading."""
    counts: Counter[str] = Counter()
    for pk in frames:
        place = told.get(pk, Place())
        counts.update(band for band in (place.smile_band or "unread", place.intensity_band) if band)
    return counts
