"""A second camera laid against the looks of the first by content, without trusting either clock."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.sorting import content, setups
from galleries.sorting.clocks import Stream
from galleries.sorting.codes import Code
from galleries.sorting.frames import FrameNumbers
from galleries.told import Told, told

_FOREIGN = 2.0  # a frame further than this from every look is in none of them
_LEAST_OWN = 5
_OUT_OF_TIME = 0.25  # decides only between looks of the same content, as when a set-up is shot again later
_SURELY_OUT = 24.0
_BY_HAND = 15.0  # seconds by which clocks differ that were set by hand
_ZONE = 1800.0  # a clock left in another zone, or in summer's time, is off by so many seconds or a multiple
_SHIFTS, _FURTHER = 121, 4.0  # shifts tried, to so many times the slack on each side
_AT_ONCE = 256  # frames: a day's would take a gigabyte
_SECOND = 1.0  # clocks are read to the second
_TELLS = 3.0  # nats by which a frame tells two looks apart


@dataclass(frozen=True)
class Placed:
    """Frames of one stream in one look; `shift` seconds take the stream's clock to the main one."""

    stream: Stream
    indices: list[int]
    shift: float

    def frames(self) -> list[FrameNumbers]:
        return [self.stream.frames[i] for i in self.indices]

    def in_time(self) -> bool:
        """Whether the clock never runs backwards over these frames."""
        seconds = [self.stream.seconds[i] for i in self.indices]
        known = [s for s in seconds if s is not None]
        return all(a <= b for a, b in itertools.pairwise(known))


def lay_against(
    groups: list[list[Placed]], stream: Stream, starts: list[int]
) -> tuple[list[list[Placed]], Told | None]:
    """Give every frame of `stream` (looks of its own begin at `starts`) to a look of `groups`, in order.

    A look of the stream that resembles none of theirs becomes a look of its own at its place. Returns the new
    groups and what there is to say of the clock, or None.
    """
    middles = [content.middle(np.concatenate([content.table(p.frames()) for p in group])) for group in groups]
    rows = content.table(stream.frames)
    edges = [*starts, len(rows)]
    segments = list(itertools.pairwise(edges))
    clock = _Clock.compare(groups, stream)
    against = setups.weights(rows, np.stack(middles), dict.fromkeys(content.GROUPS, 0.0))
    hints = setups.change_hints(stream, rows)
    choice = _monotone(
        against + clock.cost(groups, stream, _OUT_OF_TIME), np.repeat(hints[:, None], len(groups), axis=1)
    )
    clock = clock.corrected(_bounds(groups, stream, _taken(choice), np.stack(middles), against), stream.name)
    if clock.sure:
        clock, in_time = clock.settled(groups, stream, against)
        choice = _monotone(
            against + in_time, clock.hints(groups, stream, setups.change_hints(stream, rows, gaps=False))
        )
    foreign = [
        b - a >= _LEAST_OWN
        and not (clock.sure and _seen_meanwhile(groups[0][0].stream, stream, (a, b), clock.shift))
        and _nearest(rows[a:b], middles) > _FOREIGN
        and content.holds_together(rows[a:b], middles, {})
        for a, b in segments
    ]
    own = [part for part, alone in zip(segments, foreign, strict=True) if alone]
    taken = _taken(choice, [i for a, b in own for i in range(a, b)])
    placed: list[tuple[float, list[Placed]]] = []
    for number, group in enumerate(groups):
        indices = taken.get(number, [])
        placed.append((number, [*group, Placed(stream, indices, clock.shift)] if indices else list(group)))
    for a, b in own:
        place = clock.place(groups, stream, a) if clock.known else None
        if place is None:
            place = max((n for n, indices in taken.items() if indices[0] < a), default=-1) + 0.5
        placed.append((place, [Placed(stream, list(range(a, b)), clock.shift)]))
    result = [group for _, group in sorted(placed, key=lambda item: item[0])]
    return result, clock.note


def _nearest(rows: Floats, middles: list[Floats]) -> float:
    """Distance of a stretch's median to the look it resembles most."""
    return min(content.difference(content.middle(rows), m).size for m in middles)


def _seen_meanwhile(main: Stream, stream: Stream, part: tuple[int, int], shift: float) -> bool:
    """Whether the main camera took frames while the other took these: then both saw one look."""
    span = _span(stream, list(range(*part)))
    if span is None:
        return False
    return any(s is not None and span[0] <= s - shift <= span[1] for s in main.seconds)


def _taken(choice: list[int], without: list[int] | None = None) -> dict[int, list[int]]:
    taken: dict[int, list[int]] = {}
    for i, look in enumerate(choice):
        if i not in (without or ()):
            taken.setdefault(look, []).append(i)
    return taken


def _monotone(cost: Floats, hints: Floats) -> list[int]:
    """The look of every frame so that looks never go back and what is said against them, `cost` (frames, looks) in
    nats, less the `hints` (frames, looks) that a look begins before a frame, is least."""
    looks = cost.shape[1]
    best = cost[0].copy()
    came = np.zeros(cost.shape, dtype=int)
    for i in range(1, len(cost)):
        source = np.arange(looks)
        reach = best.copy()
        least = 0
        for j in range(1, looks):
            least = j - 1 if best[j - 1] < best[least] else least
            if best[least] - hints[i, j] < best[j]:
                source[j], reach[j] = least, best[least] - hints[i, j]
        came[i] = source
        best = reach + cost[i]
    path = [int(np.argmin(best))]
    for i in range(len(cost) - 1, 0, -1):
        path.append(int(came[i][path[-1]]))
    return path[::-1]


@dataclass(frozen=True)
class _Clock:
    """`shift` takes a stream's seconds to the main one's, right within `slack`; sure when the content bears it out."""

    shift: float
    slack: float
    sure: bool
    known: bool
    note: Told | None = None

    @classmethod
    def compare(cls, groups: list[list[Placed]], stream: Stream) -> _Clock:
        """What the two clocks say by themselves."""
        zero, other = _start(groups[0][0].stream), _start(stream)
        if zero is None or other is None:
            note = told(Code.NO_CLOCK, camera=stream.name)
            return cls(0.0, 0.0, False, False, note if other is None else None)
        return cls((other - zero).total_seconds(), 60.0, False, True)

    def corrected(self, bounds: list[tuple[float, float]], name: str) -> _Clock:
        """Hold the clocks against the content, by what each change of look allows (`_bounds`).

        The shift inside most of the bounds is right: the clocks' own, else that off by whole hours, else the middle.
        """
        if not self.known or not bounds:
            return self
        places = sorted({edge for bound in bounds for edge in bound})
        middles = [(a + b) / 2 for a, b in itertools.pairwise(places)] or places
        votes = [_inside(bounds, p) for p in middles]
        most = max(votes)
        if _inside(bounds, self.shift, 2.0) >= most:
            return _Clock(self.shift, _BY_HAND, True, True)
        if most < 2:
            return self
        best = [p for p, v in zip(middles, votes, strict=True) if v == most]
        shift = best[len(best) // 2]
        inside = [(a, b) for a, b in bounds if a <= shift <= b]
        slack = (min(b for _, b in inside) - max(a for a, _ in inside)) / 2
        zones = self.shift + _ZONE * round((shift - self.shift) / _ZONE)
        if _inside(bounds, zones, 2.0) >= most:
            shift, slack = zones, _BY_HAND
        wrong = shift - self.shift
        if abs(wrong) < 1:
            return _Clock(shift, slack, True, True)
        side = Code.BEHIND if wrong > 0 else Code.AHEAD
        note = Told(side, {"camera": name, "wrong_minutes": round(abs(wrong) / 60)})
        return _Clock(shift, slack, True, True, note)

    def place(self, groups: list[list[Placed]], stream: Stream, index: int) -> float | None:
        """Half a step behind the last look that began before a frame; None when its time is not known."""
        seconds = stream.seconds[index]
        if seconds is None:
            return None
        spans = [(n, _span(g[0].stream, g[0].indices), g[0].shift) for n, g in enumerate(groups)]
        begun = [n for n, span, shift in spans if span and span[0] + shift <= seconds + self.shift]
        return max(begun, default=-1) + 0.5

    def cost(self, groups: list[list[Placed]], stream: Stream, weight: float) -> Floats:
        """Nats, at most `weight`, for every (frame, look) where the clock says that it was not taken in that look."""
        cost = np.zeros((len(stream.frames), len(groups)))
        if not self.known:
            return cost
        spans, times = _spans(groups), _seconds(stream) + self.shift
        for number, span in enumerate(spans):
            if span is None:
                continue
            before = next((s[1] for s in reversed(spans[:number]) if s), -np.inf)
            after = next((s[0] for s in spans[number + 1 :] if s), np.inf)
            outside = np.fmax(np.maximum(before - times, times - after), 0.0)  # NaN is 0
            cost[:, number] = np.minimum(weight, (outside / max(self.slack, _BY_HAND)) ** 2 / 2)
        return cost

    def settled(self, groups: list[list[Placed]], stream: Stream, against: Floats) -> tuple[_Clock, Floats]:
        """The likeliest shift near this one, and nats, at most `_SURELY_OUT`, for every (frame, look) where no likely
        shift puts a frame in a look.

        A shift lays all of the stream's frames between the main one's, and so leaves each to one look, or to two while
        the main camera changes from one to the next. What the frames' contents say against those (`against`, frames by
        looks) says how likely it is; a frame that tells nothing of itself then goes where the others' shift puts it.
        """
        reach = max(self.slack, _BY_HAND)
        shifts = self.shift + reach * np.linspace(-_FURTHER, _FURTHER, _SHIFTS)
        times = _seconds(stream) + shifts[:, None]
        first, last = _edges(groups)
        before = np.concatenate([[-np.inf], np.fmax.accumulate(last)[:-1]])  # the end of all looks before each
        after = np.concatenate([np.fmin.accumulate(first[::-1])[::-1][1:], [np.inf]])

        def out(part: slice, of: NDArray[np.bool_] | slice = slice(None)) -> NDArray[np.bool_]:
            """(looks, shifts, frames): sums and least ones of the first axis are many times as fast as of the last."""
            at = times[of, part]
            return np.stack([(at < a - _SECOND) | (at > b + _SECOND) for a, b in zip(before, after, strict=True)])

        parts = [slice(a, a + _AT_ONCE) for a in range(0, len(against), _AT_ONCE)]
        costs = np.zeros(_SHIFTS)
        for part in parts:
            costs += (out(part) * _SURELY_OUT + against[part].T[:, None, :]).min(axis=0).sum(axis=1)
        likely = np.exp(costs.min() - costs)
        likely /= likely.sum()
        some = likely > math.exp(-_SURELY_OUT)
        inside = np.concatenate([(likely[some] @ ~out(part, some)).T for part in parts])
        cost = -np.log(np.maximum(inside, math.exp(-_SURELY_OUT)))
        middle = float(shifts[np.searchsorted(np.cumsum(likely), 0.5)])
        return replace(self, shift=middle), np.asarray(cost)

    def hints(self, groups: list[list[Placed]], stream: Stream, own: Floats) -> Floats:
        """Nats that speak for a look's beginning before each frame (frames, looks): its stream's `own` less the gaps,
        and the gap that both cameras leave there, from the last frame before it, whoever took it, to the first."""
        main = groups[0][0].stream
        times = _seconds(stream) + self.shift
        first, last = _edges(groups)
        ends = np.concatenate([[-np.inf], last[:-1]])
        gaps = np.fmin(times[:, None], first) - np.fmax(np.concatenate([[-np.inf], times[:-1]])[:, None], ends)
        known = np.array([s for s in main.seconds if s is not None])
        both = np.sort(np.concatenate([known, times[~np.isnan(times)]]))
        usual = max(float(np.median(np.diff(both))), 1.0)
        hints = own[:, None] + np.clip(np.nan_to_num(setups.GAP_HINT * gaps / usual), 0.0, setups.GAP_MOST)
        return np.asarray(hints)


def _seconds(stream: Stream) -> Floats:
    """Its clock's seconds; NaN where that is silent."""
    return np.array([math.nan if s is None else s for s in stream.seconds])


def _spans(groups: list[list[Placed]]) -> list[tuple[float, float] | None]:
    """When each look was before the main camera; None where it took none, or has no clock."""
    main = groups[0][0].stream
    return [_span(main, g[0].indices) if g[0].stream is main else None for g in groups]


def _edges(groups: list[list[Placed]]) -> tuple[Floats, Floats]:
    """`_spans` as the seconds of each look's first and of its last frame, NaN for None."""
    edges = np.array([(math.nan, math.nan) if span is None else span for span in _spans(groups)])
    return edges[:, 0], edges[:, 1]


def _inside(bounds: list[tuple[float, float]], shift: float, slack: float = 0.0) -> int:
    """How many of the bounds a shift lies in."""
    return sum(a - slack <= shift <= b + slack for a, b in bounds)


def _bounds(
    groups: list[list[Placed]], stream: Stream, taken: dict[int, list[int]], middles: Floats, theirs_against: Floats
) -> list[tuple[float, float]]:
    """(least, most) shift that each change of look seen by both cameras allows.

    Where the main camera passes from look n to n + 1, the other's frames of look n were taken before the main
    one's first frame of look n + 1, and its frames of look n + 1 after the main one's last of look n. Only frames
    are asked that tell the two looks apart: others may lie on the wrong side. `theirs_against` are the `setups.weights`
    of the other's frames.
    """
    main = groups[0][0].stream
    against = setups.weights(content.table(main.frames), middles, dict.fromkeys(content.GROUPS, 0.0))
    bounds = []
    for n in range(len(groups) - 1):
        if groups[n][0].stream is not main or groups[n + 1][0].stream is not main:
            continue
        here = _span(main, _telling(groups[n][0].indices, against, n, n + 1))
        there = _span(main, _telling(groups[n + 1][0].indices, against, n + 1, n))
        mine = _span(stream, _telling(taken.get(n, []), theirs_against, n, n + 1))
        theirs = _span(stream, _telling(taken.get(n + 1, []), theirs_against, n + 1, n))
        if here and there and mine and theirs and here[1] - theirs[0] <= there[0] - mine[1]:
            bounds.append((here[1] - theirs[0], there[0] - mine[1]))
    return bounds


def _telling(indices: list[int], against: Floats, look: int, other: int) -> list[int]:
    """Those frames that say by themselves that they are of one look and not of another."""
    return [i for i in indices if against[i, other] - against[i, look] >= _TELLS]


def _start(stream: Stream) -> datetime | None:
    return next((f.captured_at for f in stream.frames if f.captured_at is not None), None)


def _span(stream: Stream, indices: list[int]) -> tuple[float, float] | None:
    known = [s for i in indices if (s := stream.seconds[i]) is not None]
    return (min(known), max(known)) if known else None
