"""Where the frames of a sitting stand between serious and smiling, open and intense: from their stored readings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from django.db.models import F

from galleries.models import Sitting
from galleries.sorting.expression import Numbers, Place, places


def places_of(sitting: Sitting) -> dict[int, Place]:
    """Every frame's place. The whole sitting is the measure, whoever may see which part of it."""
    rows = sitting.frames.annotate(
        features=F("reading__face__features"),
        right=F("reading__face__right_openness"),
        left=F("reading__face__left_openness"),
    ).order_by()
    listed = rows.values_list("pk", "features", "right", "left")
    return places({pk: numbers(features, right, left) for pk, features, right, left in listed})


def numbers(features: Any, right: float | None, left: float | None) -> Numbers:
    """Of a stored face; readings of before there were features have none."""
    lids = [openness for openness in (right, left) if openness is not None]
    return Numbers(tuple(features or ()), min(lids) if lids else None)


def counted(told: Mapping[int, Place], frames: Iterable[int]) -> Counter[str]:
    """How many of these frames stand in each band; 'unread': those without a reading."""
    counts: Counter[str] = Counter()
    for pk in frames:
        place = told.get(pk, Place())
        counts.update(band for band in (place.smile_band or "unread", place.intensity_band) if band)
    return counts
