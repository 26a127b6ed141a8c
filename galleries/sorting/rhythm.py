"""Who shoots looks in turns often takes as many frames of each; who does not leaves lengths of all kinds.

Where most looks of a sitting have the same count of frames, a boundary among frames that tell nothing of themselves
lies where the looks beside it have that count too. No frame that tells its look is overruled by this.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence

import numpy as np

from galleries.imaging.arrays import Floats

USUAL = 1.5  # nats for each look of the usual count: two are less than what one frame in other clothes says
LEAST_LOOKS = 4  # of the usual count, and more than two thirds of all; before, every third
TRIED = 3  # counts


def in_rhythm(
    starts: Sequence[int], count: int, places: Sequence[range], costs: Sequence[Floats], least: int
) -> list[int]:
    """`starts` of the looks of `count` frames anew, the first (0) as it is; as they were where no count is usual.

    `places` are those that each of the others may have, `costs` the nats against each; a look has at least `least`
    frames.
    """
    edges = [*starts, count]
    lengths = Counter(b - a for a, b in itertools.pairwise(edges))
    if len(starts) < LEAST_LOOKS:
        return list(starts)
    best: tuple[float, list[int]] | None = None
    for usual, times in lengths.most_common(TRIED):
        if times < 2 or 3 * times < len(starts):
            break
        cost, way = _cheapest(edges, places, costs, usual, least)
        alike = sum(b - a == usual for a, b in itertools.pairwise([0, *way, count]))
        if alike >= LEAST_LOOKS and 3 * alike > 2 * len(starts) and (best is None or cost < best[0]):
            best = cost, [0, *way]
    return best[1] if best else list(starts)


def _cheapest(
    edges: Sequence[int], places: Sequence[range], costs: Sequence[Floats], usual: int, least: int
) -> tuple[float, list[int]]:
    """The nats of the cheapest places of all starts but the first, and these."""
    before, reach = np.array([0]), np.zeros(1)
    came: list[np.ndarray] = []
    for at, against in [*zip(places, costs, strict=True), (range(edges[-1], edges[-1] + 1), np.zeros(1))]:
        here = np.array(at)
        lengths = here[None, :] - before[:, None]
        steps = np.where(lengths < least, np.inf, np.where(lengths == usual, -USUAL, 0.0))
        through = reach[:, None] + steps
        came.append(np.argmin(through, axis=0))
        before, reach = here, through.min(axis=0) + against
    at_last, way = 0, []
    for k in range(len(came) - 1, 0, -1):
        at_last = int(came[k][at_last])
        way.append(places[k - 1][at_last])
    return float(reach[0]), way[::-1]
