"""The set-ups that one camera's frames show, and every frame held against all of them.

A set-up is a backdrop, a wardrobe, a light and a treatment; a look shot in two stretches is one set-up. The cuts found
by comparing neighbours are a first guess. From the stretches between them come the set-ups, and the way through these
that costs least, each frame weighed by how likely its reading is, gives looks that were lost between their neighbours.
What is unknown, and what may be a hand before the clothes, weighs the same for every set-up; so does a group in which
set-ups hardly differ. Where content says nothing the longer gap decides.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from galleries.imaging.arrays import Floats
from galleries.sorting import content
from galleries.sorting.clocks import Stream
from galleries.sorting.frames import FrameNumbers

ALIKE = 1.4  # medians of two stretches this near are one set-up: a look of five frames scatters by 1.0
LEAST_LOOK = 4  # frames; shorter bursts are stray frames of the look around them
SPREAD = {"backdrop": 0.35, "wardrobe": 0.5, "light": 0.6, "treatment": 0.5}  # of frames round a set-up, in units
# The most that one frame can say against a set-up, in nats: that of wardrobe is a hand, a prop, hair before it.
MOST = {"backdrop": 8.0, "wardrobe": 6.0, "light": 8.0, "treatment": 8.0}
# The face in L*: it gets darker as a head turns from the lamp, and other than before in another light.
FACE_SPREAD, FACE_SAME, FACE_MOST = 1.5, 2.0, 3.0
SAME_GROUP = 0.8  # set-ups nearer than this in a group are the same in it: what is left is chance
CHANGE = 6.0  # nats against a change of set-up, before the gap is asked
GAP_HINT, GAP_MOST = 0.5, 3.0  # nats for a gap of the usual length, and for any gap
# Nats for each stop squared by which the light on the halves of the face changes: a head goes on from where it was.
TURN_HINT, TURN_MOST = 3.0, 1.0
REPEATED = 3.0  # nats
UNSURE, NEARBY = 1.5, 2  # nats that do not settle a place, and frames from it
ROUNDS = 2


def weights(rows: Floats, centres: Floats, scatter: dict[str, float]) -> Floats:
    """Nats that each of n rows says against each of k set-ups: (n, k). `centres` (k, 10) are `content` rows."""
    against = np.zeros((len(rows), len(centres)))
    levelled = _levelled(centres)
    grey = (rows[:, None, 8] > 0.5) != (levelled[None, :, 8] > 0.5)
    for name, (a, b) in content.GROUPS.items():
        apart = rows[:, None, a:b] - levelled[None, :, a:b]
        if b - a == 3:
            apart[grey, 1:] = 0.0
        spread = content.UNITS[name] * max(SPREAD[name], scatter[name])
        nats = np.minimum(np.einsum("nkc,nkc->nk", apart, apart) / (2 * spread * spread), MOST[name])
        against += np.fmax(nats, 0.0)  # NaN is 0
    face = content.FACE
    off = (rows[:, None, face] - levelled[None, :, face]) / FACE_SPREAD
    return against + np.fmax(np.minimum(off * off / 2, FACE_MOST), 0.0)


def _levelled(centres: Floats) -> Floats:
    """Set-ups that hardly differ in a group get one centre in it."""
    out = centres.copy()
    same = [(a, b, SAME_GROUP * content.UNITS[name]) for name, (a, b) in content.GROUPS.items()]
    for a, b, least in [*same, (content.FACE, content.FACE + 1, FACE_SAME)]:
        apart = centres[:, None, a:b] - centres[None, :, a:b]
        near = np.einsum("jkc,jkc->jk", apart, apart) < least * least
        if np.count_nonzero(near) == np.count_nonzero(near.diagonal()):
            continue
        done = np.zeros(len(out), bool)
        for k in np.flatnonzero(near.diagonal()):
            if not done[k]:
                together = near[k] & ~done
                out[together, a:b] = centres[together, a:b].mean(axis=0)
                done |= together
    return out


def change_hints(stream: Stream, rows: Floats, first: int = 0, *, gaps: bool = True) -> Floats:
    """Nats that speak for a change before each frame: the gap there, and a head turned otherwise than just before; a
    frame that repeats the one before speaks against it. `rows` are the stream's from its frame `first` on."""
    there = slice(first, first + len(rows))
    hints = np.where(stream.repeats[there], -REPEATED, 0.0)
    hints += np.minimum(TURN_MOST, TURN_HINT * _jumps(rows[:, 6]) ** 2)
    if gaps and stream.usual_gap:
        hints += np.minimum(GAP_MOST, GAP_HINT * stream.gaps[there] / stream.usual_gap)
    return hints


def _jumps(values: Floats) -> Floats:
    """How far each value lies from the one before, 0 for the first; over a gap of unknown ones, all in it the same."""
    known = np.flatnonzero(~np.isnan(values))
    jumps = np.zeros(len(values) + 1)
    jumps[known[1:]] = np.diff(values[known])
    after = np.searchsorted(known, np.arange(len(values)))  # the next that is known, itself if it is
    return np.asarray(jumps[np.append(known, len(values))[after]])


def unsure(frames: Sequence[FrameNumbers], hints: Floats, place: int, sides: Floats) -> tuple[bool, bool]:
    """Whether a change of set-up at `place` of some frames may as well lie up to NEARBY frames earlier, or later.
    `hints` are their `change_hints`, `sides` (2, 10) the set-ups before and after it."""
    low, high = max(1, place - NEARBY), min(len(frames) - 1, place + NEARBY)
    rows = content.table(frames[low - 1 : high + 1])
    against = weights(rows, sides, dict.fromkeys(content.GROUPS, 0.0))
    more = np.cumsum(against[:, 0] - against[:, 1])[:-1]  # said against a change at low and on
    costs = more - hints[low : high + 1]
    costs -= costs[place - low]
    return bool((costs[: place - low] < UNSURE).any()), bool((costs[place - low + 1 :] < UNSURE).any())


def found_again(stream: Stream, rows: Floats, scatter: dict[str, float], starts: list[int]) -> list[int]:
    """`starts` anew after every frame was held against the set-ups that the stretches between them show.

    Where neighbours cannot be compared, a pause alone made the cut: then all stay as they are.
    """
    hints = change_hints(stream, rows)
    for _ in range(ROUNDS):
        middles = content.middles(rows, [*starts, len(rows)])
        if not content.comparable(middles[:-1], middles[1:]).all():
            return starts
        centres = _centres(rows, [*starts, len(rows)], middles)
        if len(centres) < 2:
            return starts
        way = _cheapest_way(weights(rows, centres, scatter), CHANGE - hints)
        anew = [0, *(i for i in range(1, len(way)) if way[i] != way[i - 1])]
        if anew == starts:
            break
        starts = anew
    return starts


def _centres(rows: Floats, edges: Sequence[int], middles: Floats) -> Floats:
    """One row for each set-up: the medians of the stretches, the longest first, those alike taken together."""
    members: list[list[int]] = []
    centres: list[Floats] = []
    for k in sorted(range(len(middles)), key=lambda k: edges[k] - edges[k + 1]):
        own = list(range(edges[k], edges[k + 1]))
        known = [c for c, centre in enumerate(centres) if content.comparable(middles[k], centre)]
        apart = {c: content.difference(middles[k], centres[c]).size for c in known}
        nearest = min(apart, key=lambda c: apart[c], default=-1)
        if nearest >= 0 and apart[nearest] < ALIKE:
            members[nearest] += own
            centres[nearest] = content.middle(rows[members[nearest]])
        else:
            members.append(own)
            centres.append(middles[k])
    return np.array(centres)


def _cheapest_way(against: Floats, change: Floats) -> list[int]:
    """The set-up of every frame so that what is said against it and for each change, summed, is least.

    No stretch is shorter than LEAST_LOOK frames. `change` holds what a change before each frame costs.
    """
    count, kinds = against.shape
    if count < 2 * LEAST_LOOK:
        return [int(np.argmin(against.sum(axis=0)))] * count
    summed = np.concatenate([np.zeros((1, kinds)), np.cumsum(against, axis=0)])
    best = np.full((count + 1, kinds), np.inf)  # of the first i frames, the last in set-up k
    came = np.full((count + 1, kinds), -1)  # -1: the same set-up went on; else the one before, LEAST_LOOK frames ago
    best[LEAST_LOOK] = summed[LEAST_LOOK]
    for i in range(LEAST_LOOK + 1, count + 1):
        best[i] = best[i - 1] + against[i - 1]
        at = i - LEAST_LOOK
        if at < LEAST_LOOK:
            continue
        first = int(np.argmin(best[at]))
        rest = best[at].copy()
        rest[first] = np.inf
        second = int(np.argmin(rest))
        source = np.full(kinds, first)
        source[first] = second
        entered = best[at][source] + change[at] + summed[i] - summed[at]
        better = entered < best[i]
        best[i] = np.where(better, entered, best[i])
        came[i] = np.where(better, source, -1)
    way: list[int] = []
    i, k = count, int(np.argmin(best[count]))
    while i > 0:
        if i == LEAST_LOOK:
            way += [k] * i
            break
        if came[i][k] < 0:
            way.append(k)
            i -= 1
        else:
            way += [k] * LEAST_LOOK
            i, k = i - LEAST_LOOK, int(came[i][k])
    return way[::-1]
