"""A final cut from a JPEG's planes: light as of RGB, colour in its place, upright, without halos."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from galleries.imaging.colour import convert
from galleries.imaging.colour.planes import Planes, to_rgb
from galleries.imaging.framing import geometry
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.opening.decode import open_picture, open_planes, turn_upright
from galleries.imaging.opening.picture import FrameFacts, StoredPlanes
from galleries.imaging.output import resize, sharpen
from galleries.imaging.output.cut_planes import cut_planes
from tests.imaging.core_pictures import exif, painted, saved

WIDTH, HEIGHT = 320, 240
FACTS = FrameFacts("JPEG", WIDTH, HEIGHT, 1, 8, "RGB", "sRGB", True)


def stored(luma: np.ndarray, cb: np.ndarray, cr: np.ndarray, orientation: int = 1) -> StoredPlanes:
    width, height = geometry.oriented_size(orientation, luma.shape[1], luma.shape[0])
    facts = replace(FACTS, width=width, height=height, orientation=orientation)
    return StoredPlanes(Planes(luma, cb, cr), convert.srgb_profile(), facts, 1.0)


def by_rgb(pixels: np.ndarray, crop: Rect, width: int, height: int, percent: int) -> np.ndarray:
    plain = resize.resize_to(pixels, width, height, crop)
    part = pixels[crop.y : crop.bottom, crop.x : crop.right]
    return sharpen.without_halos(sharpen.sharpen(plain, percent), part).astype(int)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("crop", "size"),
    [(Rect(20, 10, 160, 200), (80, 100)), (Rect(31, 13, 111, 139), (80, 100)), (Rect(40, 21, 80, 100), (120, 150))],
    ids=["halved", "odd", "enlarged"],
)
def test_as_of_rgb_whatever_way_the_file_lies(orientation: int, crop: Rect, size: tuple[int, int]) -> None:
    lying = turn_upright(painted(WIDTH, HEIGHT), geometry.INVERSE_ORIENTATION[orientation])
    data = saved(np.ascontiguousarray(lying), quality=98, subsampling=0, exif=exif(orientation=orientation))
    planes = open_planes(data)
    assert isinstance(planes, StoredPlanes)
    made = cut_planes(planes, crop, *size, 45)
    assert made.size == made.colour_size == size
    far = np.abs(to_rgb(made).astype(int) - by_rgb(open_picture(data).pixels, crop, *size, 45))
    assert far.mean() < 1.5
    assert np.percentile(far, 90) <= 4  # beyond it lie edges between strong colours, which are not sharpened


@pytest.mark.parametrize("sampling", [(1, 1), (2, 1), (1, 2), (2, 2)])
@pytest.mark.parametrize("size", [(40, 50), (75, 94), (96, 120), (150, 187)])
@pytest.mark.parametrize("corner", [(20, 10), (21, 11)])
def test_colour_lies_where_light_does(
    sampling: tuple[int, int], size: tuple[int, int], corner: tuple[int, int]
) -> None:
    """Even slopes tell by their codes how far colour was moved; rounded at random, so that roundings cancel."""
    rng = np.random.default_rng(4)
    y, x = (
        np.mgrid[0 : HEIGHT : sampling[1], 0 : WIDTH : sampling[0]]
        + 0.5 * (np.array(sampling[::-1]) - 1)[:, None, None]
    )
    down, across = (np.clip(np.floor(1.6 * at + rng.uniform(0, 1, at.shape)), 0, 255).astype(np.uint8) for at in (y, x))
    crop = Rect(*corner, 111, 139)
    made = cut_planes(stored(np.full((HEIGHT, WIDTH), 128, np.uint8), down, across), crop, *size, 0)
    rows = crop.y + (np.arange(size[1]) + 0.5) * crop.height / size[1] - 0.5
    columns = crop.x + (np.arange(size[0]) + 0.5) * crop.width / size[0] - 0.5
    for lies, belongs, by in (
        (made.cb.mean(axis=1), rows, sampling[1]),
        (made.cr.mean(axis=0), columns, sampling[0]),
    ):
        moved = (lies / 1.6 - belongs)[3:-3]
        assert abs(moved.mean()) < 0.3  # pixels of the frame
        assert np.abs(moved).max() < 0.25 * by + 0.6  # a quarter of a sample at the ends, and what is left of rounding


@pytest.mark.parametrize("size", [(75, 94), (40, 50), (150, 187)])
def test_colour_has_no_rim_beside_an_edge_and_light_only_what_is_allowed(size: tuple[int, int]) -> None:
    low, high = 60, 200
    luma = np.full((HEIGHT, WIDTH), low, np.uint8)
    luma[:, 77:] = high
    colour = luma[::2, ::2].copy()
    made = cut_planes(stored(luma, colour, 255 - colour), Rect(20, 10, 111, 139), *size, 45)
    assert (made.cb.min(), made.cb.max()) == (low, high)
    assert (made.cr.min(), made.cr.max()) == (255 - high, 255 - low)
    assert low - sharpen.OVERSHOOT <= made.luma.min() < made.luma.max() <= high + sharpen.OVERSHOOT
    assert made.luma.max() > high  # it was sharpened


def test_stripes_too_fine_for_the_final_do_not_come_back_coarser() -> None:
    """Colour in waves of 0.84 cycles to a pixel of the final; averaging two by two leaves cos(0.42 π) of them."""
    x = np.arange(WIDTH)
    colour = np.repeat((128 + 60 * np.sin(2 * np.pi * 0.42 * x)).round().astype(np.uint8)[None], HEIGHT, axis=0)
    made = cut_planes(
        stored(np.full((HEIGHT, WIDTH), 128, np.uint8), colour, colour), Rect(0, 0, 320, 240), 160, 120, 0
    )
    inside = made.cb[10:-10, 10:-10].astype(float)
    assert np.abs(inside - inside.mean()).max() < 0.27 * 60


@pytest.mark.parametrize("orientation", [1, 6])
def test_a_pixel_of_frame_is_enough(orientation: int) -> None:
    luma, cb, cr = (np.full((1, 1), value, np.uint8) for value in (99, 128, 130))
    made = cut_planes(stored(luma, cb, cr, orientation), Rect(0, 0, 1, 1), 4, 5, 45)
    assert [np.unique(plane).tolist() for plane in (made.luma, made.cb, made.cr)] == [[99], [128], [130]]
    assert made.size == made.colour_size == (4, 5)
