"""Where the looks of one camera's frames begin."""

from __future__ import annotations

import numpy as np

from galleries.imaging.arrays import Floats
from galleries.sorting import content
from galleries.sorting.clocks import Stream

WINDOW = 7  # frames looked at on each side
STRETCH = 25  # frames on each side over which a change must last
LEAST_LOOK = 4  # frames; shorter bursts are stray frames of the look around them
SHORT = 10  # looks of fewer frames must hold together, and differ by what hands and heads do not do
MIXED = 1.0  # what a window that sees two set-ups weighs against a place
SAME_POSE = 0.1  # frames of a burst lie nearer together than this, in the robust units of `content`
LIGHT_ALONE = 2.0  # by light alone a short run is a look only beyond what a turned head does to the two halves
SKIN = (60.0, 14.0, 16.0)  # Lab (D65) of a hand before the clothes: middle of usual skins (common practice, no source)
SKIN_REACH = 11.0  # Lab distance within which a short run's 'wardrobe' may be hands
STEP = 2.0  # change that makes a boundary, in units of `content`
STEP_AFTER_PAUSE = 1.4
PAUSE_FACTOR = 8.0
LEAST_PAUSE = 120.0  # seconds
GAP_HINT, GAP_MOST = 0.15, 1.0  # what a gap of the usual length, and any gap, weigh against stray frames
PAUSE_ALONE = 600.0  # seconds that make a boundary where the content is unknown


def cut_stream(stream: Stream) -> list[int]:
    """Indices at which looks begin in one stream; the first is 0."""
    rows = content.table(stream.frames)
    scatter = content.noise(rows)
    starts: list[int] = [0]
    _cut(stream, rows, scatter, 0, len(rows), starts)
    starts = _lasting(stream, rows, scatter, sorted(starts))
    starts = _without_strays(rows, scatter, starts)
    starts = _lasting(stream, rows, scatter, starts)
    return _polished(stream, rows, scatter, starts)


def _without_strays(rows: Floats, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Merge short runs that are no looks: a handful of frames with hands or props before the clothes.

    Such a run does not hold together; or what comes after it is what was before it, and all that it differs by is
    what a hand before the clothes or a turned head would do.
    """
    k = 0
    while k < len(starts) and len(starts) > 1:
        edges = [*starts, len(rows)]
        a, b = edges[k], edges[k + 1]
        if b - a >= SHORT:
            k += 1
            continue
        beside = {}
        if k:
            beside[k] = content.middle(rows[max(edges[k - 1], a - STRETCH) : a])
        if k < len(starts) - 1:
            beside[k + 1] = content.middle(rows[b : min(edges[k + 2], b + STRETCH)])
        own = content.middle(rows[a:b])
        alike = len(beside) == 2 and content.difference(beside[k], beside[k + 1], scatter).size < STEP_AFTER_PAUSE
        if alike and not _a_look_by_itself(rows[a:b], own, list(beside.values()), scatter):
            del starts[k : k + 2]
            k = 0
        elif not content.holds_together(rows[a:b], list(beside.values()), scatter):
            del starts[min(beside, key=lambda at: content.difference(own, beside[at], scatter).size)]
            k = 0
        else:
            k += 1
    return starts


def _a_look_by_itself(part: Floats, own: Floats, beside: list[Floats], scatter: dict[str, float]) -> bool:
    """Whether a short run between two stretches of one look differs by what makes a look."""
    # A burst of one pose says what one frame says: a hand or a turned head held for a second is no look.
    again = content.robust(content.distances(part[1:], part[:-1], scatter)) < SAME_POSE
    if len(part) - int(again.sum()) < LEAST_LOOK:
        return False
    changes = [content.difference(own, other, scatter) for other in beside]
    if min(change.size for change in changes) < STEP:
        return False
    if not content.holds_together(part, beside, scatter):
        return False
    least = {name: min(change.parts[name] for change in changes) for name in content.GROUPS}
    if least["treatment"] >= 1.0 or least["backdrop"] >= STEP_AFTER_PAUSE:
        return True
    if least["wardrobe"] >= STEP_AFTER_PAUSE:
        a, b = content.GROUPS["wardrobe"]
        return float(np.linalg.norm(own[a:b] - SKIN)) > SKIN_REACH
    return least["light"] >= LIGHT_ALONE


def _polished(stream: Stream, rows: Floats, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Settle every boundary once more, now that the looks on both sides are known over a longer stretch."""
    for k in range(1, len(starts)):
        edges = [*starts, len(rows)]
        a, i, b = edges[k - 1], edges[k], edges[k + 1]
        sides = content.middle(rows[max(a, i - STRETCH) : i]), content.middle(rows[i : min(b, i + STRETCH)])
        if content.comparable(*sides):
            starts[k] = _settle(stream, rows, scatter, (a, b), i, sides)
    return starts


def _lasting(stream: Stream, rows: Floats, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Drop, the weakest first, what does not last: a step between longer stretches must be there too.

    A head turned for ten frames moves the light on the face and comes back; a look does not.
    """
    while len(starts) > 1:
        edges = [*starts, len(rows)]
        ratios = []
        for k in range(1, len(starts)):
            a, i, b = edges[k - 1], edges[k], edges[k + 1]
            left, right = content.middle(rows[max(a, i - STRETCH) : i]), content.middle(rows[i : min(b, i + STRETCH)])
            if not content.comparable(left, right):
                ratios.append(1.0)
                continue
            bar = float(_bars(stream, np.array([i]), np.array([True]))[0])
            ratios.append(content.difference(left, right, scatter).size / bar)
        weakest = int(np.argmin(ratios))
        if ratios[weakest] >= 1.0:
            break
        del starts[weakest + 1]
    return starts


def _cut(stream: Stream, rows: Floats, scatter: dict[str, float], low: int, high: int, starts: list[int]) -> None:
    """Find the strongest boundary in low..high, then look on both sides of it."""
    if high - low < 2 * LEAST_LOOK:
        return
    before, after, mixed = _windows(rows[low:high], scatter)
    places = np.arange(low + LEAST_LOOK, high - LEAST_LOOK + 1)
    left, right = before[places - low], after[places - low]
    steps = content.total(content.distances(left, right, scatter))
    known = content.comparable(left, right)
    bars = _bars(stream, places, known)
    blind = ~known & np.array([(stream.gap_before(int(i)) or 0.0) >= PAUSE_ALONE for i in places])
    strength = np.where(blind, 1.0, steps / bars)
    if strength.max() < 1.0:
        return
    # Groups are cut off at a distance, so that strong changes tie: of those, windows that see one set-up each win.
    best = int(np.argmax(np.where(strength >= 1.0, strength - MIXED * mixed[places - low], -np.inf)))
    place = int(places[best])
    if not blind[best]:
        place = _settle(stream, rows, scatter, (low, high), place, (left[best], right[best]))
    starts.append(place)
    _cut(stream, rows, scatter, low, place, starts)
    _cut(stream, rows, scatter, place, high, starts)


def _windows(rows: Floats, scatter: dict[str, float]) -> tuple[Floats, Floats, Floats]:
    """Median of up to WINDOW rows before and from each index 0..n; how mixed both windows are, in robust units."""
    empty = np.full((WINDOW, rows.shape[1]), np.nan)
    padded = np.concatenate([empty, rows, empty])
    views = np.lib.stride_tricks.sliding_window_view(padded, WINDOW, axis=0).transpose(0, 2, 1)
    medians = content.medians(views)
    mixed = content.robust(content.distances(views, medians[:, None], scatter)).mean(axis=1)
    count = len(rows) + 1
    return medians[:count], medians[WINDOW : WINDOW + count], mixed[:count] + mixed[WINDOW : WINDOW + count]


def usual_gap(stream: Stream) -> float:
    """Median seconds between neighbours; 0 when no clock is known."""
    gaps = [g for i in range(1, len(stream.frames)) if (g := stream.gap_before(i)) is not None]
    return float(np.median(gaps)) if gaps else 0.0


def is_pause(stream: Stream, index: int, usual: float) -> bool:
    """Whether the gap before a frame is long for this stream."""
    gap = stream.gap_before(index)
    return gap is not None and gap >= max(LEAST_PAUSE, PAUSE_FACTOR * usual)


def _bars(stream: Stream, places: np.ndarray, known: np.ndarray) -> Floats:
    """What a step must reach at each place: less where a pause lies within two frames of it."""
    usual = usual_gap(stream)
    pauses = np.array([is_pause(stream, i, usual) for i in range(len(stream.frames) + 1)])
    near = [bool(pauses[max(0, i - 2) : i + 3].any()) for i in places]
    return np.where(np.array(near) & known, STEP_AFTER_PAUSE, STEP)


def _settle(
    stream: Stream,
    rows: Floats,
    scatter: dict[str, float],
    span: tuple[int, int],
    place: int,
    sides: tuple[Floats, Floats],
) -> int:
    """Medians change over a plateau: put the boundary where every frame lies nearest to its own side.

    Of equally good places the one after the longest gap is taken, then the one nearest to `place`.
    """
    low, high = max(span[0], place - WINDOW), min(span[1], place + WINDOW)
    part = rows[low:high]
    to_left = content.robust(content.distances(part, sides[0][None], scatter))
    to_right = content.robust(content.distances(part, sides[1][None], scatter))
    costs = np.concatenate([[0.0], np.cumsum(to_left)]) + np.concatenate([np.cumsum(to_right[::-1])[::-1], [0.0]])
    least, most = max(low, span[0] + LEAST_LOOK), min(high, span[1] - LEAST_LOOK)
    usual = usual_gap(stream)

    def rank(i: int) -> tuple[float, float, int]:
        gap = stream.gap_before(i) or 0.0
        hint = min(GAP_MOST, GAP_HINT * gap / usual) if usual else 0.0
        return (round(float(costs[i - low]) - hint, 3), -gap, abs(i - place))

    return min(range(least, most + 1), key=rank)
