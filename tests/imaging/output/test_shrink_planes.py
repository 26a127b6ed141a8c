"""Planes at a proof's size: light by the same Lanczos as RGB, upright, colour where it belongs."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image
from skimage import data as skimage_data
from skimage.metrics import peak_signal_noise_ratio

from galleries.imaging.colour.planes import Planes, from_rgb, to_rgb
from galleries.imaging.framing import geometry
from galleries.imaging.opening.decode import turn_upright
from galleries.imaging.output import resize
from galleries.imaging.output.shrink_planes import (
    averaged_first,
    shrink_again,
    shrink_colour,
    shrink_light,
    shrink_planes,
)
from tests.imaging.core_pictures import painted


@pytest.mark.parametrize("size", [(300, 200), (273, 151), (600, 400), (599, 100), (150, 400)])
def test_light_is_shrunk_value_for_value_as_pixels_are(size: tuple[int, int]) -> None:
    plane = np.random.default_rng(3).integers(0, 256, (400, 600), dtype=np.uint8)
    whole = resize.resize_to(plane[:, :, None], *size)[:, :, 0]
    assert np.abs(shrink_light(plane, *size).astype(int) - whole).max() == 0


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("size", [(700, 530), (90, 61), (911, 530), (700, 683)])
def test_light_that_lies_another_way_is_turned_whole_whatever_strips_it_is_shrunk_in(
    orientation: int, size: tuple[int, int]
) -> None:
    stored = np.random.default_rng(4).integers(0, 256, (683, 911), dtype=np.uint8)
    if orientation >= 5:
        size = size[::-1]
        lower = turn_upright(resize.resize_to(stored[:, :, None], stored.shape[1], size[0])[:, :, 0], orientation)
        whole = resize.resize_to(np.ascontiguousarray(lower)[:, :, None], *size)[:, :, 0]
    else:
        whole = turn_upright(resize.resize_to(stored[:, :, None], *size)[:, :, 0], orientation)
    assert np.array_equal(shrink_light(stored, *size, orientation), whole)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("size", [(140, 105), (139, 104)])
def test_upright_whatever_way_the_file_lies(orientation: int, size: tuple[int, int]) -> None:
    upright = painted(320, 240)
    expected = resize.resize_to(upright, *size).astype(int)
    stored = np.ascontiguousarray(turn_upright(upright, geometry.INVERSE_ORIENTATION[orientation]))
    done = shrink_planes(from_rgb(stored), *size, orientation)
    assert done.size == size
    assert done.colour_size == ((size[0] + 1) // 2, (size[1] + 1) // 2)
    far = np.abs(to_rgb(done).astype(int) - expected)
    assert far.mean() < 1.5
    assert np.percentile(far, 90) <= 3  # beyond it lies the disc's edge, where colour has half the samples


@pytest.mark.parametrize("sampling", [(1, 1), (2, 1), (1, 2), (2, 2)])
def test_colour_of_any_sampling_comes_to_half(sampling: tuple[int, int]) -> None:
    ramp = np.add.outer(np.arange(0, 240, sampling[1]), np.arange(0, 320, sampling[0])) * 0.4
    plane = ramp.round().astype(np.uint8)
    done = shrink_colour(plane, 55, 41).astype(float)
    rows, columns = (np.arange(41) + 0.5) * 240 / 41, (np.arange(55) + 0.5) * 320 / 55
    expected = np.add.outer(rows - sampling[1] / 2, columns - sampling[0] / 2) * 0.4
    assert np.abs(done - expected).max() < 2.5


def test_far_shrinking_averages_light_first_and_looks_the_same() -> None:
    planes = from_rgb(painted(640, 480))
    straight, by_steps = (shrink_planes(way, 80, 60) for way in (planes, averaged_first(planes, 80, 60)))
    assert np.abs(straight.luma.astype(int) - by_steps.luma).mean() < 1
    assert averaged_first(planes, 170, 120) is planes


@pytest.mark.parametrize(("size", "least_db"), [((1080, 720), 55), ((901, 601), 55), ((480, 320), 36)])
def test_a_companion_is_as_good_as_a_float_lanczos_to_the_eye(size: tuple[int, int], least_db: float) -> None:
    """Against Pillow's Lanczos in 32-bit float of a public-domain portrait; edges keep nine tenths of their energy."""
    portrait = cv2.cvtColor(skimage_data.astronaut(), cv2.COLOR_RGB2GRAY)
    whole = 2048 if size[0] > 500 else 1080
    plane = cv2.resize(portrait[:341], (whole, whole * 2 // 3), interpolation=cv2.INTER_CUBIC)
    plane = np.clip(plane + np.random.default_rng(5).normal(0, 4, plane.shape), 0, 255).astype(np.uint8)
    grey = np.full(((plane.shape[0] + 1) // 2, whole // 2), 128, np.uint8)
    done = shrink_again(Planes(plane, grey, grey), *size)
    assert (done.size, done.colour_size) == (size, ((size[0] + 1) // 2, (size[1] + 1) // 2))
    exact = np.asarray(Image.fromarray(plane.astype(np.float32)).resize(size, Image.Resampling.LANCZOS))
    assert peak_signal_noise_ratio(exact.clip(0, 255), done.luma.astype(np.float32), data_range=255) > least_db
    assert 0.9 < np.square(np.diff(done.luma.astype(np.float32))).mean() / np.square(np.diff(exact)).mean() < 1.1


def test_a_companion_of_another_shape_of_step_is_shrunk_as_ever() -> None:
    planes = from_rgb(painted(640, 480))
    assert shrink_again(planes, 640, 480) is planes
    for size in ((500, 375), (200, 150)):
        assert np.array_equal(shrink_again(planes, *size).luma, shrink_planes(planes, *size).luma)


def test_nothing_breaks_where_a_plane_is_enlarged() -> None:
    assert shrink_light(np.full((4, 6), 77, np.uint8), 9, 3).shape == (3, 9)


def test_one_pixel_is_enough() -> None:
    one = Planes(*(np.full((1, 1), value, np.uint8) for value in (99, 128, 130)))
    assert shrink_planes(one, 1, 1, 6).luma[0, 0] == 99
