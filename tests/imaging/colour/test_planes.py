"""Planes of light and colour against the conversions that JPEG's own standard and another library make."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from galleries.imaging.colour.planes import Planes, from_rgb, halved, to_rgb
from tests.imaging.core_pictures import painted


@pytest.mark.parametrize("size", [(160, 120), (161, 119), (1, 1), (2, 5)])
def test_planes_are_those_of_another_library(size: tuple[int, int]) -> None:
    """Pillow's YCbCr is ITU-T T.871's."""
    rgb = painted(max(2, size[0]), max(2, size[1]))[: size[1], : size[0]]
    planes = from_rgb(rgb)
    luma, cb, cr = (band.astype(float) for band in np.moveaxis(np.asarray(Image.fromarray(rgb).convert("YCbCr")), 2, 0))
    assert np.abs(planes.luma - luma).max() <= 1
    assert planes.size == size
    assert planes.colour_size == ((size[0] + 1) // 2, (size[1] + 1) // 2)
    for ours, theirs in ((planes.cb, cb), (planes.cr, cr)):
        even = np.pad(theirs, ((0, size[1] % 2), (0, size[0] % 2)), "edge")
        means = even.reshape(even.shape[0] // 2, 2, -1, 2).mean(axis=(1, 3))
        assert np.abs(ours - means).max() <= 1.5


def test_rgb_of_planes_is_a_decoder_s() -> None:
    """libjpeg's own, of a file at the highest quality, whose colour runs evenly between its samples."""
    rgb = painted()
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=100, subsampling=2)
    theirs = np.asarray(Image.open(out)).astype(int)
    assert np.abs(to_rgb(from_rgb(rgb)).astype(int) - theirs).mean() < 1


def test_greys_stay_grey_to_the_code() -> None:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    planes = from_rgb(grey)
    assert np.array_equal(planes.luma[0], np.arange(256))
    assert (planes.cb == 128).all()
    assert (planes.cr == 128).all()
    assert np.array_equal(to_rgb(planes), grey)


@pytest.mark.parametrize(("across", "down"), [(1, 1), (2, 1), (1, 2)])
def test_colour_may_have_all_samples_of_either_side(across: int, down: int) -> None:
    colour = np.full((-(-5 // down), -(-7 // across)), 128, np.uint8)
    rgb = to_rgb(Planes(np.full((5, 7), 99, np.uint8), colour, colour))
    assert rgb.shape == (5, 7, 3)
    assert (rgb == 99).all()


@pytest.mark.parametrize(("height", "width"), [(6, 8), (7, 8), (6, 9), (7, 9), (1, 4), (5, 1), (1, 1)])
def test_half_of_a_plane_is_the_mean_of_two_by_two_with_the_last_one_repeated(height: int, width: int) -> None:
    plane = np.random.default_rng(width).integers(0, 256, (height, width), dtype=np.uint8)
    even = np.pad(plane, ((0, height % 2), (0, width % 2)), mode="edge").astype(int)
    means = (even[::2, ::2] + even[1::2, ::2] + even[::2, 1::2] + even[1::2, 1::2] + 2) // 4
    assert np.array_equal(halved(plane), means)
