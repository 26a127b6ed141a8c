"""Medians and percentiles are those of numpy (its documented method 'linear')."""

from __future__ import annotations

import numpy as np
import pytest

from galleries.imaging.face import ranks


@pytest.mark.parametrize("size", [1, 2, 3, 40, 41, 1000])
@pytest.mark.parametrize("percent", [0, 10, 50, 70, 97, 99, 100])
def test_percentiles_are_numpys(size: int, percent: float) -> None:
    values = np.random.default_rng(size).normal(50, 20, size).astype(np.float32)
    assert ranks.percentile(values, percent) == pytest.approx(float(np.percentile(values, percent)), rel=1e-6)


@pytest.mark.parametrize("size", [1, 2, 41, 700, 16_001])
@pytest.mark.parametrize("steps", [0, 3, 1000, 10_000_000])
def test_several_percentiles_are_numpys(size: int, steps: int) -> None:
    """Of numbers all alike, of few and of many different ones, with one far from the others."""
    values = np.random.default_rng(size).integers(0, steps + 1, size).astype(np.float32)
    for numbers in (values, np.append(values, np.float32(-1e6)), np.append(values, np.float32(1e6))):
        percents = [0, 10, 25, 50, 90, 99.9, 100]
        assert ranks.percentiles(numbers, *percents) == pytest.approx(np.percentile(numbers, percents), rel=1e-6)


@pytest.mark.parametrize("shape", [(7, 1), (7, 2), (3, 9), (4, 48), (2, 999), (2, 1000)])
def test_medians_are_numpys(shape: tuple[int, int]) -> None:
    rows = np.random.default_rng(3).integers(0, 9, shape).astype(np.float32)  # with many alike
    assert np.array_equal(ranks.medians(rows), np.median(rows, axis=1))
    assert ranks.median(rows) == np.median(rows)


def test_what_is_asked_about_stays_as_it_was() -> None:
    values = np.arange(20.0)[::-1].reshape(4, 5)
    before = values.copy()
    ranks.percentile(values, 30)
    ranks.medians(values)
    assert np.array_equal(values, before)


@pytest.mark.parametrize("size", [1, 2, 3, 41, 101])
@pytest.mark.parametrize("percent", [0, 50, 97, 99, 100])
def test_under_a_bound_is_what_the_percentile_says(size: int, percent: float) -> None:
    values = np.random.default_rng(size).integers(0, 20, size) / 4
    for bound in np.arange(-0.125, 5.25, 0.0625):
        assert ranks.is_under(values, percent, bound) == (np.percentile(values, percent) < bound), bound
