"""Planes converted as planes, against a conversion of every pixel."""

from __future__ import annotations

import numpy as np
import pytest
from skimage import color
from skimage import data as skimage_data

from galleries.imaging.colour import convert, profiles
from galleries.imaging.colour.planes import from_rgb, to_rgb
from galleries.imaging.colour.planes_to_srgb import planes_to_srgb
from tests.imaging.core_pictures import painted

WIDE = ("Adobe RGB", "Display P3", "ProPhoto RGB")


@pytest.mark.parametrize("name", WIDE)
def test_a_portrait_is_as_near_as_its_colour_s_own_resolution_allows(name: str) -> None:
    """By CIEDE2000 of scikit-image; beside it what half resolution of colour alone costs the same picture."""
    srgb, icc = convert.srgb_profile(), profiles.build(name)
    portrait = skimage_data.astronaut()[:301, :299]
    planes = from_rgb(convert.between_profiles(portrait, srgb, icc))
    exact = from_rgb(convert.between_profiles(to_rgb(planes), icc, srgb))
    ours = planes_to_srgb(planes, icc)
    lab, exact_lab, ours_lab = (color.rgb2lab(rgb) for rgb in (portrait, to_rgb(exact), to_rgb(ours)))
    off = color.deltaE_ciede2000(exact_lab, ours_lab)
    by_resolution = color.deltaE_ciede2000(lab, exact_lab)
    assert off.mean() < 0.6
    assert off.mean() < 0.5 * by_resolution.mean()
    assert np.percentile(off, 99) < 0.5 * np.percentile(by_resolution, 99)
    assert np.abs(ours.luma.astype(int) - exact.luma).mean() < 0.5


@pytest.mark.parametrize("name", WIDE)
def test_even_colours_and_every_grey_are_those_of_a_conversion(name: str) -> None:
    srgb, icc = convert.srgb_profile(), profiles.build(name)
    grey = np.repeat(np.random.default_rng(1).integers(0, 256, (64, 64, 1), dtype=np.uint8), 3, axis=2)
    ours = to_rgb(planes_to_srgb(from_rgb(grey), icc))
    assert np.abs(ours.astype(int) - convert.between_profiles(grey, icc, srgb)).max() <= 1
    for colour in ((200, 120, 100), (30, 60, 140), (90, 160, 90)):
        even = np.full((8, 8, 3), colour, np.uint8)
        ours = to_rgb(planes_to_srgb(from_rgb(even), icc))
        assert np.abs(ours.astype(int) - convert.between_profiles(even, icc, srgb)).max() <= 3


def test_srgb_is_left_alone() -> None:
    planes = from_rgb(painted())
    assert planes_to_srgb(planes, convert.srgb_profile()) is planes
