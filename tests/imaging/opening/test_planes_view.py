"""Parts of a picture's planes as upright RGB are those of the whole."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from galleries.imaging.colour.planes import Planes, to_rgb
from galleries.imaging.face import eyes
from galleries.imaging.face.views import Lie, packed
from galleries.imaging.opening.decode import turn_upright, view_upright
from galleries.imaging.opening.planes_view import UprightView


def _random(width: int, height: int, across: int, down: int, seed: int) -> Planes:
    dice = np.random.default_rng(seed)
    few = -(-height // down), -(-width // across)
    luma, cb, cr = (dice.integers(0, 256, size, dtype=np.uint8) for size in ((height, width), few, few))
    return Planes(luma, cb, cr)


@settings(max_examples=120, deadline=None)
@given(
    st.integers(1, 8), st.integers(3, 40), st.integers(3, 40), st.sampled_from([(1, 1), (2, 1), (2, 2), (1, 2)]),
    st.data(),
)  # fmt: skip
def test_any_part_is_cut_out_of_the_whole(
    orientation: int, width: int, height: int, sampling: tuple[int, int], data: st.DataObject
) -> None:
    planes = _random(width, height, *sampling, seed=width * height)
    whole = turn_upright(to_rgb(planes), orientation)
    view = UprightView(planes, orientation)
    assert view.shape == whole.shape
    assert view.strides == view_upright(to_rgb(planes), orientation).strides
    top, left = data.draw(st.integers(0, whole.shape[0])), data.draw(st.integers(0, whole.shape[1]))
    bottom, right = data.draw(st.integers(top, 50)), data.draw(st.integers(left, 50))
    assert np.array_equal(view[top:bottom, left:right], whole[top:bottom, left:right])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_part_is_packed_as_any_other(orientation: int) -> None:
    planes = _random(60, 40, 2, 2, 1)
    whole = turn_upright(to_rgb(planes), orientation)
    view = UprightView(planes, orientation)
    assert np.array_equal(packed(view[5:31, 3:30]), whole[5:31, 3:30])
    assert Lie.of(view) == Lie.of(view[5:31, 3:30])


@pytest.mark.parametrize("orientation", range(1, 9))
def test_its_light_is_the_grey_of_its_colours(orientation: int) -> None:
    """Y of T.871 and OpenCV's grey weigh red, green and blue alike; of colours that RGB can hold."""
    dice = np.random.default_rng(orientation)
    planes = Planes(*(dice.integers(100, 156, size, dtype=np.uint8) for size in ((40, 60), (20, 30), (20, 30))))
    view = UprightView(planes, orientation)
    grey = cv2.cvtColor(turn_upright(to_rgb(planes), orientation), cv2.COLOR_RGB2GRAY)
    assert view.light.shape == view.shape[:2]
    assert np.abs(view.light.astype(int) - grey).max() <= 1


@pytest.mark.parametrize("orientation", range(1, 9))
def test_what_is_read_of_its_light_is_what_is_read_of_its_colours(orientation: int) -> None:
    dice = np.random.default_rng(orientation)
    sizes = ((300, 400), (150, 200), (150, 200))
    planes = Planes(*(dice.integers(low, high, size, dtype=np.uint8) for size, (low, high) in zip(
        sizes, ((60, 200), (120, 136), (120, 136)), strict=True)))  # fmt: skip
    view = UprightView(planes, orientation)
    rgb = turn_upright(to_rgb(planes), orientation)
    assert np.abs(eyes.tiles_of(view).astype(int) - eyes.tiles_of(rgb)).max() <= 1
    eye = eyes.Eye((150.2, 149.7), 14.0, (), 0.3)
    assert eyes.eye_sharpness(view, eye) == pytest.approx(eyes.eye_sharpness(rgb, eye), rel=0.02)
