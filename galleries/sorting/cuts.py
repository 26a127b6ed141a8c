"""Where the looks of one camera's frames begin."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.sorting import content, setups
from galleries.sorting.clocks import Stream
from galleries.sorting.rhythm import in_rhythm

WINDOW = 7  # frames looked at on each side
STRETCH = 25  # frames on each side over which a change must last
SHORT = 10  # looks of fewer frames must hold together, and differ by what hands and heads do not do
MIXED = 1.0  # what a window that sees two set-ups weighs against a place
SAME_POSE = 0.1  # frames of a burst lie nearer together than this, in the robust units of `content`
LIGHT_ALONE = 2.0  # by light alone a short run is a look only beyond what a turned head does to the two halves
CLOTH_SPREAD = 5.0  # mean Lab distance from their middle beyond which readings are not of one cloth
STEP = 2.0  # change that makes a boundary, in units of `content`
STEP_AFTER_PAUSE = 1.4
PAUSE_FACTOR = 8.0
LEAST_PAUSE = 120.0  # seconds
GAP_HINT, GAP_MOST = 0.15, 1.0  # what a gap of the usual length, and any gap, weigh against stray frames
PAUSE_ALONE = 600.0  # seconds that make a boundary where the content is unknown


class _Seen:
    """The median rows of stretches, each put together once."""

    def __init__(self, rows: Floats, again: NDArray[np.bool_]) -> None:
        self.rows, self.again = rows, again
        self._middles: dict[tuple[int, ...], Floats] = {}

    def poses(self, a: int, b: int) -> Floats:
        """The rows of a stretch, one for each burst of one pose."""
        return np.asarray(self.rows[a:b][np.concatenate([[True], ~self.again[a + 1 : b]])])

    def middle(self, *edges: int) -> Floats:
        """Of the frames from the first to the second edge, the third to the fourth, and so on."""
        if edges not in self._middles:
            parts = [self.rows[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True)]
            self._middles[edges] = content.middle(np.concatenate(parts))
        return self._middles[edges]


def cut_stream(stream: Stream) -> list[int]:
    """Indices at which looks begin in one stream; the first is 0."""
    rows = content.table(stream.frames)
    scatter = content.noise(rows)
    seen = _Seen(rows, _same_pose(stream, rows, scatter))
    starts: list[int] = [0]
    _cut(stream, rows, scatter, 0, len(rows), starts)
    starts = _lasting(stream, seen, scatter, sorted(starts))
    starts = setups.found_again(stream, rows, scatter, starts)
    starts = _without_strays(seen, scatter, starts)
    starts = _lasting(stream, seen, scatter, starts)
    return _polished(stream, rows, scatter, starts)


def _same_pose(stream: Stream, rows: Floats, scatter: dict[str, float]) -> NDArray[np.bool_]:
    """Whether each frame says what the one before said: nearly the same picture, or the same readings, all known."""
    alike = content.robust(content.distances(rows[1:], rows[:-1], scatter))
    known = ~np.isnan(rows[1:, :8] + rows[:-1, :8]).any(axis=1)
    return np.concatenate([[False], (alike < SAME_POSE) & known | (alike < 1.0) & stream.repeats[1:]])[: len(rows)]


def _without_strays(seen: _Seen, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Merge short runs that are no looks: a handful of frames with hands or props before the clothes.

    Such a run does not hold together; or what comes after it is what was before it, and all that it differs by is
    what a hand before the clothes or a turned head would do; or its clothes are hands, and all else is its neighbour.
    """
    k = 0
    while k < len(starts) and len(starts) > 1:
        edges = [*starts, len(seen.rows)]
        a, b = edges[k], edges[k + 1]
        # A burst of one pose says what one frame says: a hand or a turned head held for a second is no look.
        part = seen.poses(a, b)
        if b - a >= SHORT:
            k += 1
            continue
        beside = {}
        if k:
            beside[k] = _seen_of(seen, edges, k - 1, near_end=True)
        if k < len(starts) - 1:
            beside[k + 1] = _seen_of(seen, edges, k + 1, near_end=False)
        own = _seen_of(seen, edges, k, near_end=True)
        alike = len(beside) == 2 and content.difference(beside[k], beside[k + 1], scatter).size < STEP_AFTER_PAUSE
        nearest = min(beside, key=lambda at: content.difference(own, beside[at], scatter).size)
        others = list(beside.values())
        if alike and not any(_a_look_by_itself(rows, own, others, scatter) for rows in _asked(seen, edges, k)):
            del starts[k : k + 2]
            k = 0
        elif not any(content.holds_together(rows, others, scatter) for rows in _asked(seen, edges, k)):
            del starts[nearest]
            k = 0
        elif under := [at for at, other in beside.items() if _same_under_hands(part, own, other, scatter)]:
            del starts[nearest if nearest in under else under[0]]
            k = 0
        else:
            k += 1
    return starts


def _seen_of(seen: _Seen, edges: list[int], k: int, *, near_end: bool) -> Floats:
    """What a run shows: the median of its frames near one end, of a short one with all short ones of its set-up."""
    a, b = edges[k], edges[k + 1]
    if b - a >= SHORT:
        return seen.middle(max(a, b - STRETCH), b) if near_end else seen.middle(a, min(b, a + STRETCH))
    return seen.middle(*itertools.chain(*_turns(seen, edges, k)))


def _asked(seen: _Seen, edges: list[int], k: int) -> Iterator[Floats]:
    """The rows by which short run `k` is judged, its own first; where too few of them tell, those of all its turns."""
    own = seen.poses(edges[k], edges[k + 1])
    yield own
    turns = _turns(seen, edges, k) if len(own) >= setups.LEAST_LOOK else []
    if len(turns) > 1:
        yield np.concatenate([seen.poses(a, b) for a, b in turns])


def _turns(seen: _Seen, edges: list[int], k: int) -> list[tuple[int, int]]:
    """The edges of all short runs of the set-up of short run `k`, its own among them."""
    own = seen.middle(edges[k], edges[k + 1])
    short = [(c, d) for c, d in itertools.pairwise(edges) if d - c < SHORT]
    return [(c, d) for c, d in short if c == edges[k] or content.difference(own, seen.middle(c, d)).size < setups.ALIKE]


def _same_under_hands(part: Floats, own: Floats, other: Floats, scatter: dict[str, float]) -> bool:
    """Whether a short run's clothes are hands, which scatter as cloth does not, and all else is as in another."""
    a, b = content.GROUPS["wardrobe"]
    away = np.linalg.norm(part[:, a:b] - own[a:b], axis=1)
    away = away[~np.isnan(away)]
    if len(away) and not (content.may_be_hands(own) and float(away.mean()) > CLOTH_SPREAD):
        return False
    change = content.difference(own, other, scatter).parts
    return all(size < 1.0 for name, size in change.items() if name != "wardrobe")


def _a_look_by_itself(part: Floats, own: Floats, beside: list[Floats], scatter: dict[str, float]) -> bool:
    """Whether a short run between two stretches of one look differs by what makes a look."""
    if len(part) < setups.LEAST_LOOK:
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
        return not content.may_be_hands(own)
    return least["light"] >= LIGHT_ALONE


def _polished(stream: Stream, rows: Floats, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Settle every boundary once more, now that the looks on both sides are known over a longer stretch."""
    places, costs = [], []
    for k in range(1, len(starts)):
        edges = [*starts, len(rows)]
        a, i, b = edges[k - 1], edges[k], edges[k + 1]
        sides = content.middle(rows[max(a, i - STRETCH) : i]), content.middle(rows[i : min(b, i + STRETCH)])
        near, against = _places(stream, rows, scatter, (a, b), i, sides)
        if content.comparable(*sides):
            starts[k] = _best(stream, near, against, i)
        places.append(near)
        costs.append(against + 0.01 * np.abs(np.array(near) - starts[k]))  # as it is, where nothing speaks
    return in_rhythm(starts, len(rows), places, costs, setups.LEAST_LOOK)


def _lasting(stream: Stream, seen: _Seen, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """Drop, the weakest first, what does not last: a step between longer stretches must be there too.

    A head turned for ten frames moves the light on the face and comes back; a look does not.
    """
    while len(starts) > 1:
        edges = [*starts, len(seen.rows)]
        ratios = []
        for k in range(1, len(starts)):
            i = edges[k]
            left = _seen_of(seen, edges, k - 1, near_end=True)
            right = _seen_of(seen, edges, k, near_end=False)
            if not content.comparable(left, right):
                ratios.append(1.0)
                continue
            bar = STEP_AFTER_PAUSE if (stream.gaps[max(0, i - 2) : i + 3] >= _long_pause(stream)).any() else STEP
            ratios.append(content.difference(left, right, scatter).size / bar)
        weakest = int(np.argmin(ratios))
        if ratios[weakest] >= 1.0:
            break
        del starts[weakest + 1]
    return starts


def _cut(stream: Stream, rows: Floats, scatter: dict[str, float], low: int, high: int, starts: list[int]) -> None:
    """Find the strongest boundary in low..high, then look on both sides of it."""
    if high - low < 2 * setups.LEAST_LOOK:
        return
    before, after, mixed = _windows(rows[low:high], scatter)
    places = np.arange(low + setups.LEAST_LOOK, high - setups.LEAST_LOOK + 1)
    left, right = before[places - low], after[places - low]
    steps = content.total(content.distances(left, right, scatter))
    known = content.comparable(left, right)
    bars = _bars(stream, places, known)
    blind = ~known & (np.append(stream.gaps, 0.0)[places] >= PAUSE_ALONE)
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


def _long_pause(stream: Stream) -> float:
    """Seconds."""
    return max(LEAST_PAUSE, PAUSE_FACTOR * stream.usual_gap)


def _bars(stream: Stream, places: np.ndarray, known: np.ndarray) -> Floats:
    """What a step must reach at each place: less where a pause lies within two frames of it."""
    pauses = np.concatenate([np.zeros(2), stream.gaps >= _long_pause(stream), np.zeros(3)])
    near = np.lib.stride_tricks.sliding_window_view(pauses, 5).max(axis=1)[places] > 0
    return np.where(near & known, STEP_AFTER_PAUSE, STEP)


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
    return _best(stream, *_places(stream, rows, scatter, span, place, sides), place)


def _best(stream: Stream, places: range, costs: Floats, place: int) -> int:
    """The cheapest of the places near `place`; see `_settle`."""

    def rank(k: int) -> tuple[float, float, int]:
        return (round(float(costs[k]), 3), -float(stream.gaps[places[k]]), abs(places[k] - place))

    return places[min(range(len(places)), key=rank)]


def _places(
    stream: Stream,
    rows: Floats,
    scatter: dict[str, float],
    span: tuple[int, int],
    place: int,
    sides: tuple[Floats, Floats],
) -> tuple[range, Floats]:
    """Where a boundary near `place` may lie, and the nats against each."""
    low, high = max(span[0], place - WINDOW), min(span[1], place + WINDOW)
    against = setups.weights(rows[low:high], np.stack(sides), scatter)
    costs = np.concatenate([[0.0], np.cumsum(against[:, 0])])
    costs += np.concatenate([np.cumsum(against[::-1, 1])[::-1], [0.0]])
    least, most = max(low, span[0] + setups.LEAST_LOOK), min(high, span[1] - setups.LEAST_LOOK)
    begin = max(0, least - 1)
    hints = setups.change_hints(stream, rows[begin : most + 1], begin)
    return range(least, most + 1), costs[least - low : most + 1 - low] - hints[least - begin : most + 1 - begin]
