"""Frames that got less light than others of the same set-up, brought up to those before anything is compared.

A lamp turned down and a flash that does not fire are no look: face, backdrop and clothes get darker by one factor. The
face tells the factor, for it is the same person's all day. It is believed only where the rest bears it out: brought up
by it, backdrop and clothes must be what several frames nearby show, and nearer to it than they were. A head turned
from the lamp darkens the face alone, another backdrop the backdrop alone; neither is touched.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from galleries.imaging.arrays import Floats
from galleries.sorting import content
from galleries.sorting.clocks import Stream
from galleries.sorting.frames import FrameNumbers, Lab

# X, Y and Z times one factor are L* + 16, a* and b* times its cube root (CIE 15, CIE 1976 L*a*b*, but near black).
OFFSET = 16.0
LEAST_STOPS = 0.5  # a face that turns from the lamp changes by less
NEAR = 1.3  # a frame brought up is this near, in units of `content`, to what it is held against
SEVERAL = 3  # frames that must bear it out
REACH = 40  # frames on each side that a frame is held against
BETTER = 0.6  # and by so much nearer than it was


def levelled(stream: Stream) -> Stream:
    """The stream with its darker frames brought up to the exposure of brighter ones of their set-up nearby."""
    frames = list(stream.frames)
    # Again for flashes that failed while the lamp was turned down, and to go on from REACH to REACH.
    for _ in range(2 + len(frames) // REACH):
        more = _missing_stops(frames)
        if not more:
            break
        for i, stops in more.items():
            frames[i] = brighter(frames[i], stops)
    return replace(stream, frames=tuple(frames))


def _missing_stops(frames: list[FrameNumbers]) -> dict[int, float]:
    """The stops that frames lack, by their place; only of those for which SEVERAL others bear it out."""
    stops = np.array([np.nan if f.face is None else 3 * np.log2(f.face + OFFSET) for f in frames])
    rows = content.table(frames)
    dark, bright = _pairs(stops, rows)
    if not len(dark):
        return {}
    near = _borne_out(rows[dark], 2 ** ((stops[bright] - stops[dark]) / 3), rows[bright])
    dark, bright = dark[near], bright[near]
    places, counts = np.unique(dark, return_counts=True)
    return {int(i): float(np.median(stops[bright[dark == i]] - stops[i])) for i in places[counts >= SEVERAL]}


def _pairs(stops: Floats, rows: Floats) -> tuple[np.ndarray, np.ndarray]:
    """Places of (darker, brighter) within reach whose backdrops, where both are known, differ by the same stops."""
    none = np.zeros(0, dtype=int)
    known = stops[~np.isnan(stops)]
    if not len(known) or known.max() - known.min() < LEAST_STOPS:
        return none, none
    darks, brights = [none], [none]
    with np.errstate(invalid="ignore"):
        behind = 3 * np.log2(np.maximum(rows[:, 0], 0) + OFFSET)
        for apart in range(1, min(REACH, len(stops) - 1) + 1):
            face, back = stops[apart:] - stops[:-apart], behind[apart:] - behind[:-apart]
            alike = ~(np.abs(face - back) > 1.0)
            earlier, later = (
                np.flatnonzero(alike & (face >= LEAST_STOPS)),
                np.flatnonzero(alike & (face <= -LEAST_STOPS)),
            )
            darks += [earlier, later + apart]
            brights += [earlier + apart, later]
    return np.concatenate(darks), np.concatenate(brights)


def _borne_out(rows: Floats, roots: Floats, others: Floats) -> np.ndarray:
    """Whether each row brought up by its root is what the other shows, in backdrop and clothes or the one known.

    Clothes that are far off either way may be a hand: then face and backdrop are two who say the same, if either shows
    the colour of one and the light comes from where it came. Without that a look before a darker backdrop, in which the
    person has another light, was taken for one that lacks light.
    """
    lifted = rows.copy()
    for start in (0, 3):
        lifted[:, start] = _lightness(rows[:, start], roots)
        lifted[:, start + 1 : start + 3] *= roots[:, None]
    was, now = content.distances(rows, others), content.distances(lifted, others)
    hand = ~np.isnan(rows[:, 0] + others[:, 0]) & (np.minimum(was["wardrobe"], now["wardrobe"]) > content.FAR_OFF)
    hand &= content.may_be_hands(lifted) | content.may_be_hands(others)
    hand &= now["light"] < content.FAR_OFF
    for parts in (was, now):
        parts["wardrobe"] = np.where(hand, 0.0, parts["wardrobe"])
        del parts["light"]
    size = content.total(now)
    known = (~np.isnan(rows[:, :6:3] + others[:, :6:3])).any(axis=1)
    return np.asarray((size < NEAR) & (size < content.total(was) - BETTER) & known)


def brighter(frame: FrameNumbers, stops: float) -> FrameNumbers:
    """The same frame with `stops` more light; less when negative."""
    root = 2 ** (stops / 3)

    def lit(lab: Lab | None) -> Lab | None:
        return None if lab is None else (float(_lightness(lab[0], root)), lab[1] * root, lab[2] * root)

    face = None if frame.face is None else float(_lightness(frame.face, root))
    return replace(frame, backdrop=lit(frame.backdrop), wardrobe=lit(frame.wardrobe), face=face)


def _lightness(values: Floats | float, roots: Floats | float) -> Floats:
    """Each L* with light times the cube of its root."""
    return np.clip((np.asarray(values) + OFFSET) * roots - OFFSET, 0.0, 100.0)
