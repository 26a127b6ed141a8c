"""How different two stretches of frames are in backdrop, wardrobe, light and treatment, and how to say it.

Distances are in units in which 1 is the least that an eye on the contact sheet would call a change.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.sorting.codes import Code
from galleries.sorting.frames import FrameNumbers
from galleries.told import Told, told

# columns of the table: three of the backdrop, three of the wardrobe, two of the light, one of the treatment; and one of
# the face, which makes no look by itself (a lamp turned down, a head turned from it)
GROUPS = {"backdrop": (0, 3), "wardrobe": (3, 6), "light": (6, 8), "treatment": (8, 9)}
# Lab distance, Lab distance, stops, share of black-and-white frames. Own choice, tuned on generated sittings.
UNITS = {"backdrop": 5.0, "wardrobe": 6.5, "light": 0.55, "treatment": 0.3}
FACE, FACE_UNIT, FACE_MOST = 9, 2.5, 2.0  # column, L* and units
_FAR = 4.0
FAR_OFF = 2.0  # further off in one group a single frame says no more
SKIN = (60.0, 14.0, 16.0)  # Lab (D65) of a hand before the clothes: middle of usual skins (common practice, no source)
SKIN_REACH = 11.0  # Lab distance within which a 'wardrobe' may be hands


def table(frames: Sequence[FrameNumbers]) -> Floats:
    """One row of ten numbers a frame; NaN is unknown."""
    nan3, nan2 = (math.nan,) * 3, (math.nan,) * 2
    rows = [
        (
            *(f.backdrop or nan3),
            *(f.wardrobe or nan3),
            *(f.light or nan2),
            1.0 if f.monochrome else 0.0,
            math.nan if f.face is None else f.face,
        )
        for f in frames
    ]
    return np.array(rows, dtype=float).reshape(-1, 10)


def medians(windows: Floats) -> Floats:
    """Median along axis 1 of (n, k, columns), NaN left out; NaN where a window knows nothing."""
    ordered = np.sort(windows, axis=1)  # NaN goes last
    count = np.sum(~np.isnan(windows), axis=1)
    low, high = np.maximum(0, (count - 1) // 2), count // 2
    high = np.minimum(high, windows.shape[1] - 1)
    at, column = np.ogrid[: len(windows), : windows.shape[2]]
    both = ordered[at, low, column] + ordered[at, high, column]
    return np.where(count > 0, both / 2, math.nan)


def middle(rows: Floats) -> Floats:
    """The median row of a stretch."""
    return medians(rows[None])[0] if len(rows) else np.full(rows.shape[1], math.nan)


def middles(rows: Floats, edges: Sequence[int]) -> Floats:
    """The median rows of the stretches between `edges`."""
    return np.array([middle(rows[a:b]) for a, b in itertools.pairwise(edges)])


def noise(rows: Floats) -> dict[str, float]:
    """How much each group scatters from frame to frame, in its units: median step between neighbours / 1.5."""
    scatter = {}
    for name, (a, b) in GROUPS.items():
        steps = np.linalg.norm(np.diff(rows[:, a:b], axis=0), axis=1)
        steps = steps[~np.isnan(steps)]
        scatter[name] = float(np.median(steps)) / 1.5 / UNITS[name] if len(steps) else 0.0
    return scatter


def distances(one: Floats, other: Floats, scatter: dict[str, float] | None = None) -> dict[str, Floats]:
    """Per group the distance of rows (n, 10) to rows; 0 where either is unknown.

    Between a colour and a black-and-white row only lightness is compared. Groups that scatter widely count less.
    A light that comes from elsewhere counts more where it makes the face darker or lighter too.
    """
    grey = (one[..., 8] > 0.5) != (other[..., 8] > 0.5)
    by_group = {}
    for name, (a, b) in GROUPS.items():
        apart = one[..., a:b] - other[..., a:b]
        if b - a == 3:
            apart = apart * np.where(grey[..., None], (1.0, 0.0, 0.0), (1.0, 1.0, 1.0))
        size = np.sqrt(np.sum(apart * apart, axis=-1)) / UNITS[name]
        weight = 1.0 / max(1.0, (scatter or {}).get(name, 0.0))
        by_group[name] = np.fmax(size * weight, 0.0)  # NaN is 0
    light = by_group["light"]
    if (elsewhere := light >= 1.0).any():
        face = np.minimum(np.abs(one[..., FACE] - other[..., FACE]) / FACE_UNIT, FACE_MOST)
        by_group["light"] = np.where(elsewhere & (face > 0), np.hypot(light, face), light)
    return by_group


def total(parts: dict[str, Floats]) -> Floats:
    """One number out of the groups: the root of the sum of squares, each cut at 4."""
    squares = [np.minimum(part, _FAR) ** 2 for part in parts.values()]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)))


def comparable(one: Floats, other: Floats) -> NDArray[np.bool_]:
    """Whether backdrop, wardrobe or light is known on both sides."""
    both = ~np.isnan(one) & ~np.isnan(other)
    return np.asarray(both[..., :8].any(axis=-1))


def robust(parts: dict[str, Floats]) -> Floats:
    """Sum of the groups, each cut at 2: a hand before the clothes must not drown what backdrop and light say."""
    return np.asarray(np.sum([np.minimum(part, FAR_OFF) for part in parts.values()], axis=0))


def may_be_hands(rows: Floats) -> NDArray[np.bool_]:
    """Whether the wardrobe of rows (n, 10) has the colour of skin, in black and white its lightness, or is unknown."""
    a, b = GROUPS["wardrobe"]
    apart = (rows[..., a:b] - SKIN) * np.where(rows[..., 8:9] > 0.5, (1.0, 0.0, 0.0), (1.0, 1.0, 1.0))
    return np.asarray(~(np.sqrt(np.sum(apart * apart, axis=-1)) > SKIN_REACH))


def holds_together(rows: Floats, others: Sequence[Floats], scatter: dict[str, float]) -> bool:
    """Whether three quarters of a stretch's frames lie nearer to its own median than to any of `others`.

    A frame that tells nothing of what they differ by, unknown there, far from all or a hand before the clothes, is not
    asked; nor may most be so.
    """
    own_middle = middle(rows)
    parts = distances(rows, own_middle[None], scatter)
    own = robust(parts)
    nearer, asked = np.ones(len(rows), bool), np.ones(len(rows), bool)
    hands = may_be_hands(rows) & ~may_be_hands(own_middle)
    for other in others:
        others_parts = distances(rows, other[None], scatter)
        nearer &= own < robust(others_parts)
        tells = np.zeros(len(rows), bool)
        for name in difference(own_middle, other, scatter).main or GROUPS:
            near = np.minimum(parts[name], others_parts[name]) < FAR_OFF
            if name == "wardrobe":
                near &= ~hands | may_be_hands(other)
            tells |= ~np.isnan(rows[:, GROUPS[name][0]]) & near
        asked &= tells
    return bool(asked.mean() >= 0.5 and nearer[asked].mean() >= 0.75)


def colour_name(lab: Sequence[float] | Floats) -> str:
    """The name of a colour, one of `codes.COLOURS`: dark_blue, light_grey."""
    lightness, a, b = (float(v) for v in lab)
    chroma, hue = math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360
    if chroma < 7:
        for limit, name in ((18, "black"), (38, "dark_grey"), (65, "grey"), (86, "light_grey")):
            if lightness < limit:
                return name
        return "white"
    bands = (
        (25, "pink" if lightness > 65 else "red"),
        (55, "red" if chroma > 35 and lightness < 60 else "brown" if lightness < 55 else "beige"),
        (75, "orange" if chroma > 45 else "brown" if lightness < 50 else "beige"),
        (105, "yellow" if chroma > 30 else "beige" if lightness > 45 else "olive"),
        (175, "green"),
        (225, "teal"),
        (295, "blue"),
        (330, "purple"),
        (361, "pink" if lightness > 60 else "magenta"),
    )
    name = next(word for limit, word in bands if hue < limit)
    if name in ("pink", "beige", "brown"):
        return name
    return f"dark_{name}" if lightness < 32 else f"light_{name}" if lightness > 72 else name


@dataclass(frozen=True)
class Difference:
    """What changes between two stretches: distance per group and one in all."""

    parts: dict[str, float]
    size: float

    @property
    def main(self) -> list[str]:
        """The groups that change, the strongest first."""
        return [n for n, v in sorted(self.parts.items(), key=lambda item: -item[1]) if v >= 1.0]


def difference(one: Floats, other: Floats, scatter: dict[str, float] | None = None) -> Difference:
    """Compare two median rows, as `distances` and `total` do, without arrays: of so few numbers that is faster."""
    was, now = one.tolist(), other.tolist()
    grey = (was[8] > 0.5) != (now[8] > 0.5)
    parts: dict[str, float] = {}
    squares = 0.0
    for name, (a, b) in GROUPS.items():
        apart = math.dist(was[a:b], now[a:b])
        if grey and b - a == 3 and not math.isnan(apart):
            apart = abs(was[a] - now[a])
        part = 0.0 if math.isnan(apart) else apart / UNITS[name] / max(1.0, (scatter or {}).get(name, 0.0))
        if name == "light" and part >= 1.0 and (face := abs(was[FACE] - now[FACE]) / FACE_UNIT) > 0:
            part = math.hypot(part, min(face, FACE_MOST))
        parts[name] = round(part, 2)
        squares += min(part, _FAR) ** 2
    return Difference(parts, round(math.sqrt(squares), 2))


_SETTING = {
    "backdrop": (Code.BACKDROP_CHANGES, Code.BACKDROP_ANOTHER),
    "wardrobe": (Code.WARDROBE_CHANGES, Code.WARDROBE_ANOTHER),
}


def reasons(one: Floats, other: Floats, change: Difference) -> list[Told]:
    """What is to be said of each group that changes."""
    changes = []
    for name in change.main:
        a, b = GROUPS[name]
        if name in ("backdrop", "wardrobe"):
            was, now = colour_name(one[a:b]), colour_name(other[a:b])
            change_of, another = _SETTING[name]
            same = was == now
            changes.append(told(another, now_colour=now) if same else told(change_of, was_colour=was, now_colour=now))
        elif name == "light":
            changes.append(_light(one[a:b], other[a:b]))
        else:
            changes.append(told(Code.TO_MONOCHROME if other[a] > 0.5 else Code.TO_COLOUR))
    return changes


def _light(one: Floats, other: Floats) -> Told:
    if abs(one[0]) > 0.3 and abs(other[0]) > 0.3 and one[0] * other[0] < 0:
        return told(Code.LIGHT_TO_RIGHT if other[0] > 0 else Code.LIGHT_TO_LEFT)
    was, now = float(np.hypot(*one)), float(np.hypot(*other))
    if abs(now - was) > 0.4:
        values = {"was_stops": round(was, 1), "now_stops": round(now, 1)}
        return Told(Code.LIGHT_HARDER if now > was else Code.LIGHT_SOFTER, {**values})
    return told(Code.LIGHT_OTHER_SIDE)
