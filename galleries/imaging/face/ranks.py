"""Medians and percentiles of a few thousand numbers: numpy's own answers in a third to a fifth of the time, most of
which goes into looking for missing values and into asking for two places at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats

_MANY = 500  # numbers up to which all are put in order sooner than the middle one
_STEPS = 1024


def percentile(values: Floats, percent: float) -> float:
    """The value under which `percent` (0 to 100) of at least one number lie, linearly between the two nearest."""
    flat = np.ravel(values)
    at = (flat.size - 1) * percent / 100
    place = int(at)
    ordered = np.partition(flat, place)
    value = float(ordered[place])
    return value + (at - place) * (float(ordered[place + 1 :].min()) - value) if at > place else value


def percentiles(values: Floats, *percents: float) -> list[float]:
    """`percentile` of the same numbers for each: counted into steps first, only those near each are put in order."""
    flat = np.ravel(values)
    low, high = float(flat.min()), float(flat.max())
    if flat.size < _MANY or not high > low:
        return [percentile(flat, percent) for percent in percents]
    steps = ((flat - flat.dtype.type(low)) * flat.dtype.type((_STEPS - 1) / (high - low))).astype(np.int32)
    upto = np.bincount(steps, minlength=_STEPS).cumsum()
    return [_near(flat, steps, upto, (flat.size - 1) * percent / 100) for percent in percents]


def _near(flat: Floats, steps: NDArray[np.int32], upto: NDArray[np.intp], at: float) -> float:
    """The value at a place of the order, that may lie between two; how many numbers lie up to each step is known."""
    place = int(at)
    one, other = (int(step) for step in np.searchsorted(upto, (place, min(place + 1, flat.size - 1)), side="right"))
    few = np.sort(flat[(steps >= one) & (steps <= other)])
    place -= int(upto[one - 1]) if one else 0
    value = float(few[place])
    return value + (at - int(at)) * (float(few[place + 1]) - value) if at > int(at) else value


def is_under(values: Floats, percent: float, bound: float) -> bool:
    """Whether `percentile` is less than `bound`: mostly told by counting, without putting anything in order."""
    below, place = int(np.count_nonzero(values < bound)), int((values.size - 1) * percent / 100)
    if below == place + 1:  # the bound lies between the two nearest
        return percentile(values, percent) < bound
    return below > place


def median(values: Floats) -> float:
    """The middle one of at least one number; of an even number of them the mean of both in the middle."""
    return percentile(values, 50)


def medians(rows: Floats) -> Floats:
    """Of each row of (n, m), m at least 1, its median, (n,)."""
    middle, other = rows.shape[1] // 2, (rows.shape[1] - 1) // 2
    if rows.shape[1] < _MANY:
        ordered = np.sort(rows, axis=1)
        return np.asarray((ordered[:, middle] + ordered[:, other]) / 2)
    ordered = np.partition(rows, middle, axis=1)
    below = ordered[:, middle] if other == middle else ordered[:, :middle].max(axis=1)
    return np.asarray((ordered[:, middle] + below) / 2)
