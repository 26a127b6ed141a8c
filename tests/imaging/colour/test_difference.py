"""CIEDE2000 and WCAG contrast against published numbers and an outside library."""

from __future__ import annotations

import colour
import numpy as np
import pytest

from galleries.imaging.colour.difference import ciede2000, contrast_ratio, luminance_of

# Of table 1 of Sharma, Wu, Dalal 2005 [values from memory; the outside library below agrees]: pairs about the jumps of
# hue, and ordinary ones.
SHARMA = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0000),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0009, -2.4900), 4.8045),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (50.0, 3.2592, 0.3350), 1.0000),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
]


@pytest.mark.parametrize(("one", "other", "want"), SHARMA)
def test_the_published_pairs(one: tuple[float, ...], other: tuple[float, ...], want: float) -> None:
    assert float(ciede2000(one, other)) == pytest.approx(want, abs=1e-4)
    assert float(ciede2000(other, one)) == pytest.approx(want, abs=1e-4)


def test_any_colours_as_the_outside_library_has_them() -> None:
    rng = np.random.default_rng(5)
    one, other = (rng.uniform((0, -90, -90), (100, 90, 90), (2000, 3)) for _ in range(2))
    ours, theirs = ciede2000(one, other), colour.delta_E(one, other, method="CIE 2000")
    assert np.allclose(ours, theirs, atol=1e-6)


def test_contrast_as_wcag_counts_it() -> None:
    # WCAG 2.2: black on white 21:1. #767676 on white is the lightest grey of 4.5:1 [from memory: 4.54].
    assert contrast_ratio(0, 1) == contrast_ratio(1, 0) == pytest.approx(21)
    grey = ((0x76 / 255 + 0.055) / 1.055) ** 2.4
    assert contrast_ratio(grey, 1) == pytest.approx(4.54, abs=0.01)


def test_luminance_follows_lightness() -> None:
    # CIE 15: L* 50 is Y 0.1842; L* 8 joins both branches at Y 0.008856.
    assert luminance_of(50) == pytest.approx(0.1842, abs=1e-4)
    assert luminance_of(8) == pytest.approx(216 / 24389)
    assert luminance_of(8.0001) == pytest.approx(216 / 24389, abs=1e-6)


def test_lightness_counts_half_where_asked() -> None:
    one, other = (50.0, 10.0, 10.0), (56.0, 10.0, 10.0)
    assert float(ciede2000(one, other, 2.0)) == pytest.approx(float(ciede2000(one, other)) / 2)
