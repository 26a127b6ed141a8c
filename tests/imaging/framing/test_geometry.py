"""Rectangles, ratios, orientations and turned crops: tables, properties, and every transform's inverse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.errors import BadCrop
from galleries.imaging.framing import geometry
from galleries.imaging.framing.geometry import Ratio, Rect
from tests.telling import refused

sides = st.integers(1, 12_000)
frames = st.tuples(sides, sides)
orientations = st.integers(1, 8)


@st.composite
def rects_in(draw: st.DrawFn) -> tuple[int, int, Rect]:
    width, height = draw(frames)
    x, y = draw(st.integers(0, width - 1)), draw(st.integers(0, height - 1))
    return width, height, Rect(x, y, draw(st.integers(1, width - x)), draw(st.integers(1, height - y)))


@given(st.integers(-9000, 9000), st.integers(-9000, 9000), sides, sides, frames)
def test_clamping_stays_inside_and_changes_nothing_twice(
    x: int, y: int, w: int, h: int, frame: tuple[int, int]
) -> None:
    clamped = Rect(x, y, w, h).clamp_to(*frame)
    assert clamped.inside(*frame)
    assert clamped.clamp_to(*frame) == clamped
    assert (clamped.width, clamped.height) == (min(w, frame[0]), min(h, frame[1]))


@given(rects_in())
def test_what_lies_inside_is_left_alone(case: tuple[int, int, Rect]) -> None:
    width, height, rect = case
    assert rect.clamp_to(width, height) == rect
    assert Rect(0, 0, width, height).contains(rect)


@given(rects_in())
def test_scaling_up_and_back_is_exact_for_whole_factors(case: tuple[int, int, Rect]) -> None:
    rect = case[2]
    assert rect.scaled(2).scaled(0.5) == rect


def test_no_area_is_a_sentence() -> None:
    with refused(BadCrop, r"A crop of 0 × 5 pixels has no area\."):
        Rect(1, 1, 0, 5)
    with refused(BadCrop, "shape of 4:0"):
        Ratio(4, 0)


def test_ratios_are_held_in_lowest_terms() -> None:
    assert Ratio(1200, 1500) == Ratio(4, 5)
    assert Ratio(2475, 3075).fraction.denominator == 41


shapes = st.tuples(st.integers(9, 16), st.integers(9, 16)).map(lambda pair: Ratio(*pair))


@given(shapes, frames)
def test_the_largest_fit_is_inside_of_that_shape_and_cannot_grow(ratio: Ratio, frame: tuple[int, int]) -> None:
    rect = geometry.fit_largest(ratio, frame)
    assert rect.inside(*frame)
    assert rect.width == frame[0] or rect.height == frame[1]
    if min(rect.width, rect.height) > 20:
        assert ratio.matches(rect)
        assert abs(rect.width / rect.height - ratio.fraction) < 1 / min(rect.width, rect.height) * 1.3


@given(frames, orientations)
def test_orientation_of_a_point_has_its_inverse(frame: tuple[int, int], orientation: int) -> None:
    for point in ((0.0, 0.0), (0.25 * frame[0], 0.75 * frame[1]), (float(frame[0]), 1.0)):
        shown = geometry.orient_point(orientation, *frame, point)
        assert geometry.unorient_point(orientation, *frame, shown) == pytest.approx(point)


@given(rects_in(), orientations)
def test_orientation_of_a_rectangle_is_exact_both_ways(case: tuple[int, int, Rect], orientation: int) -> None:
    width, height, rect = case
    shown = geometry.orient_rect(orientation, width, height, rect)
    assert shown.inside(*geometry.oriented_size(orientation, width, height))
    assert shown.area == rect.area
    assert geometry.unorient_rect(orientation, width, height, shown) == rect


# Where the stored picture's first row and first column are seen: CIPA DC-008 (Exif 2.32), table of tag
# Orientation [std, from memory]; row 0 at the visual top/bottom/left/right, column 0 likewise.
FIRST_ROW = {1: "top", 2: "top", 3: "bottom", 4: "bottom", 5: "left", 6: "right", 7: "right", 8: "left"}
FIRST_COLUMN = {1: "left", 2: "right", 3: "right", 4: "left", 5: "top", 6: "top", 7: "bottom", 8: "bottom"}


def _side(orientation: int, strip: Rect, width: int, height: int) -> set[str]:
    shown = geometry.orient_rect(orientation, width, height, strip)
    shown_w, shown_h = geometry.oriented_size(orientation, width, height)
    at = {"left": shown.right == 1, "top": shown.bottom == 1, "right": shown.x == shown_w - 1}
    at["bottom"] = shown.y == shown_h - 1
    return {name for name, yes in at.items() if yes}


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientations_mean_what_the_standard_says(orientation: int) -> None:
    assert _side(orientation, Rect(0, 0, 7, 1), 7, 5) == {FIRST_ROW[orientation]}
    assert _side(orientation, Rect(0, 0, 1, 5), 7, 5) == {FIRST_COLUMN[orientation]}


tilts = st.floats(-45, 45)


@given(rects_in(), tilts, st.floats(-100, 9000), st.floats(-100, 9000))
def test_turned_crops_have_their_inverse(case: tuple[int, int, Rect], tilt: float, u: float, v: float) -> None:
    rect = case[2]
    there = geometry.from_turned(rect, tilt, (u, v))
    assert geometry.to_turned(rect, tilt, there) == pytest.approx((u, v), abs=1e-6)


@given(rects_in(), tilts)
def test_turning_keeps_centre_and_size(case: tuple[int, int, Rect], tilt: float) -> None:
    rect = case[2]
    corners = geometry.turned_corners(rect, tilt)
    assert np.mean(corners, axis=0) == pytest.approx(rect.centre, abs=1e-6)
    assert math.dist(corners[0], corners[1]) == pytest.approx(rect.width, rel=1e-9)
    assert math.dist(corners[1], corners[2]) == pytest.approx(rect.height, rel=1e-9)
    assert geometry.turned_inside(rect, 0, rect.right, rect.bottom)


def test_a_tilt_levels_an_eye_line_of_that_slope() -> None:
    rect, roll = Rect(100, 100, 400, 500), 12.0
    right_eye = (250.0, 300.0)
    left_eye = (250 + 100 * math.cos(math.radians(roll)), 300 + 100 * math.sin(math.radians(roll)))
    first, second = (geometry.to_turned(rect, roll, eye) for eye in (right_eye, left_eye))
    assert first[1] == pytest.approx(second[1])
    assert second[0] - first[0] == pytest.approx(100)
