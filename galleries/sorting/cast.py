"""Skin cast: how far the skin of a frame lies from what is usual in its own look.

Only against the look's median: what colour a person's skin should have nobody can say, but two frames of one light
should agree. A frame that does not was lit by a flash that failed, by a lamp that came on, or by a window.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from statistics import median
from typing import Literal

FEWEST = 5  # frames of a look before a median means anything
# Distance in the a*b* plane of CIE 1976 L*a*b*; about 2.3 is just seen side by side (Mahy et al. 1994, from memory),
# twice that is worth a look. Frames of one painted look scatter by less than half of it.
SEEN = 4.6
SCATTERS = 4.0  # a look whose light is meant to change scatters more: then only what lies far outside counts

Towards = Literal["red", "yellow", "green", "blue"]
AB = tuple[float, float]


@dataclass(frozen=True)
class Cast:
    """a, b: differences of skin a* and b* from the look's median; distance: of both; marked: worth pointing out."""

    a: float
    b: float
    distance: float
    towards: Towards
    marked: bool


def casts(skin: Mapping[str, AB | None]) -> dict[str, Cast]:
    """The cast of each frame of one look: id → a* and b* of its skin (None where they are not known).

    Frames without a value get no answer, and so does a look with fewer than five values.
    """
    known = {name: ab for name, ab in skin.items() if ab is not None}
    if len(known) < FEWEST:
        return {}
    middle = (median(ab[0] for ab in known.values()), median(ab[1] for ab in known.values()))
    away = {name: (ab[0] - middle[0], ab[1] - middle[1]) for name, ab in known.items()}
    usual = median(math.hypot(*ab) for ab in away.values())
    limit = max(SEEN, SCATTERS * usual)
    return {
        name: Cast(round(a, 2), round(b, 2), round(math.hypot(a, b), 2), _towards(a, b), math.hypot(a, b) > limit)
        for name, (a, b) in away.items()
    }


def _towards(a: float, b: float) -> Towards:
    if abs(a) >= abs(b):
        return "red" if a >= 0 else "green"
    return "yellow" if b >= 0 else "blue"
