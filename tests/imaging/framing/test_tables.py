"""Rectangles, sizes and orders at their edges: each bound once on either side, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.codes import Code
from galleries.imaging.colour import convert, profiles
from galleries.imaging.errors import BadCrop
from galleries.imaging.framing import geometry
from galleries.imaging.framing.cut_order import CutOrder, check_order
from galleries.imaging.framing.geometry import Ratio, Rect
from galleries.imaging.framing.sizes import SizeSpec

RECT = Rect(10, 20, 30, 40)


def code_of(call: object, *arguments: object) -> str | None:
    try:
        call(*arguments)  # type: ignore[operator]
    except BadCrop as error:
        return error.told.code
    return None


# Rectangles


def test_sides_centre_and_area_of_a_rectangle() -> None:
    assert (RECT.right, RECT.bottom, RECT.centre, RECT.area) == (40, 60, (25.0, 40.0), 1200)
    assert RECT.as_list() == [10, 20, 30, 40]
    assert Rect(0, 0, 3, 5).centre == (1.5, 2.5)
    assert RECT.moved(-3, 4) == Rect(7, 24, 30, 40)


@pytest.mark.parametrize(("width", "height"), [(0, 1), (1, 0), (-1, 1), (1, -1)])
def test_a_rectangle_has_an_area(width: int, height: int) -> None:
    assert code_of(Rect, 0, 0, width, height) == Code.NO_AREA
    assert code_of(Ratio, width, height) == Code.SHAPE_NO_AREA
    assert code_of(Rect, -5, -5, 1, 1) is None


@pytest.mark.parametrize(
    ("frame", "inside"), [((40, 60), True), ((39, 60), False), ((40, 59), False), ((400, 600), True)]
)
def test_a_rectangle_may_touch_the_frames_edge(frame: tuple[int, int], inside: bool) -> None:
    assert RECT.inside(*frame) is inside
    assert Rect(0, 0, *frame).contains(RECT) is inside


@pytest.mark.parametrize("rect", [Rect(-1, 0, 5, 5), Rect(0, -1, 5, 5)])
def test_a_rectangle_before_the_origin_is_outside(rect: Rect) -> None:
    assert not rect.inside(100, 100)
    assert not Rect(0, 0, 100, 100).contains(rect)


@pytest.mark.parametrize(
    ("rect", "clamped"),
    [
        (Rect(-5, -6, 30, 40), Rect(0, 0, 30, 40)),
        (Rect(80, 70, 30, 40), Rect(70, 60, 30, 40)),
        (Rect(5, 6, 300, 400), Rect(0, 0, 100, 100)),
        (Rect(5, 90, 300, 20), Rect(0, 80, 100, 20)),
    ],
)
def test_clamping_shifts_first_and_cuts_only_what_is_too_large(rect: Rect, clamped: Rect) -> None:
    assert rect.clamp_to(100, 100) == clamped


@pytest.mark.parametrize(
    ("rect", "factor", "scaled"),
    [
        (Rect(10, 20, 30, 40), 0.5, Rect(5, 10, 15, 20)),
        (Rect(1, 3, 1, 3), 0.5, Rect(1, 2, 1, 1)),  # edges 0.5, 1, 1.5, 3: half up
        (Rect(0, 0, 1, 1), 0.1, Rect(0, 0, 1, 1)),
        (Rect(-3, -1, 2, 2), 0.5, Rect(-1, 0, 1, 1)),  # -1.5 rounds to -1: half up below zero too
        (Rect(10, 20, 30, 40), 1.25, Rect(13, 25, 37, 50)),
    ],
)
def test_edges_are_scaled_and_rounded_half_up(rect: Rect, factor: float, scaled: Rect) -> None:
    assert rect.scaled(factor) == scaled


# Ratios


@pytest.mark.parametrize(
    ("ratio", "height", "width"),
    [(Ratio(4, 5), 10, 8), (Ratio(4, 5), 11, 9), (Ratio(2, 3), 4, 3), (Ratio(1, 2), 3, 2), (Ratio(1, 9), 2, 1)],
)
def test_the_nearest_side_of_a_shape_rounds_half_up(ratio: Ratio, height: int, width: int) -> None:
    """8.8 → 9; 2.67 → 3; 1.5 → 2; 0.22 → 1, for a side is never nothing."""
    assert ratio.width_for(height) == width
    assert Ratio(ratio.height, ratio.width).height_for(height) == width


@given(st.integers(1, 60), st.integers(1, 60), st.integers(1, 9000))
def test_the_nearest_side_is_the_nearest(width: int, height: int, side: int) -> None:
    ratio = Ratio(width, height)
    exact = side * width / height
    assert abs(ratio.width_for(side) - exact) <= max(0.5, 1 - exact)


@pytest.mark.parametrize(
    ("rect", "matches"),
    [
        (Rect(0, 0, 800, 1000), True),
        (Rect(0, 0, 801, 1001), True),  # one side follows from the other: 1001 × 4/5 = 800.8
        (Rect(0, 0, 801, 1000), False),
        (Rect(0, 0, 800, 1002), False),
        (Rect(0, 0, 1000, 800), False),
    ],
)
def test_a_shape_is_matched_to_the_pixel(rect: Rect, matches: bool) -> None:
    assert Ratio(4, 5).matches(rect) is matches


@pytest.mark.parametrize(
    ("ratio", "frame", "fit"),
    [
        (Ratio(4, 5), (100, 200), Rect(0, 37, 100, 125)),
        (Ratio(4, 5), (200, 100), Rect(60, 0, 80, 100)),
        (Ratio(1, 1), (100, 100), Rect(0, 0, 100, 100)),
        (Ratio(16, 9), (160, 200), Rect(0, 55, 160, 90)),
        (Ratio(4, 5), Rect(10, 20, 100, 200), Rect(10, 57, 100, 125)),
    ],
)
def test_the_largest_fit_stands_in_the_middle(ratio: Ratio, frame: Rect | tuple[int, int], fit: Rect) -> None:
    assert geometry.fit_largest(ratio, frame) == fit


# Turning


@pytest.mark.parametrize(
    ("tilt", "point"), [(0, (40.0, 60.0)), (90, (5.0, 55.0)), (180, (10.0, 20.0)), (-90, (45.0, 25.0))]
)
def test_a_quarter_turn_takes_the_corner_where_it_should(tilt: float, point: tuple[float, float]) -> None:
    """y runs down, so a positive tilt turns clockwise as seen: the lower right corner goes to the lower left."""
    assert geometry.from_turned(RECT, tilt, (30, 40)) == pytest.approx(point)
    assert geometry.to_turned(RECT, tilt, point) == pytest.approx((30, 40))


def test_corners_go_round_from_the_top_left() -> None:
    assert geometry.turned_corners(RECT, 0) == ((10, 20), (40, 20), (40, 60), (10, 60))


def test_a_turned_square_needs_its_diagonal() -> None:
    """Turned by 45° a square of 100 reaches 70.71 from its centre."""
    reach = 50 * math.sqrt(2)
    for slack, inside in ((reach - 70 + 1e-3, True), (reach - 70 - 1e-3, False)):
        assert geometry.turned_inside(Rect(20, 20, 100, 100), 45, 140, 140, slack=slack) is inside
    assert geometry.turned_inside(Rect(21, 21, 100, 100), 45, 142, 142)
    assert not geometry.turned_inside(Rect(20, 21, 100, 100), 45, 142, 142)
    assert not geometry.turned_inside(Rect(21, 20, 100, 100), 45, 142, 142)
    assert not geometry.turned_inside(Rect(21, 21, 100, 100), 45, 141, 142)
    assert not geometry.turned_inside(Rect(21, 21, 100, 100), 45, 142, 141)


def test_a_corner_may_lie_on_the_edge_of_its_slack() -> None:
    assert geometry.turned_inside(Rect(-1, -1, 12, 12), 0, 10, 10, slack=1)
    assert not geometry.turned_inside(Rect(-2, -1, 12, 12), 0, 10, 10, slack=1)
    assert not geometry.turned_inside(Rect(-1, -2, 12, 12), 0, 10, 10, slack=1)
    assert not geometry.turned_inside(Rect(-1, -1, 13, 12), 0, 10, 10, slack=1)
    assert not geometry.turned_inside(Rect(-1, -1, 12, 13), 0, 10, 10, slack=1)


# A rectangle 3 × 4 at (1, 2) of a stored picture 20 × 10: 16 columns right of it, 4 rows below it.
# CIPA DC-008, Orientation: mirrored, half turns, then the four with exchanged axes [std, from memory].
@pytest.mark.parametrize(
    ("orientation", "shown"),
    [
        (1, Rect(1, 2, 3, 4)),
        (2, Rect(16, 2, 3, 4)),
        (3, Rect(16, 4, 3, 4)),
        (4, Rect(1, 4, 3, 4)),
        (5, Rect(2, 1, 4, 3)),
        (6, Rect(4, 1, 4, 3)),
        (7, Rect(4, 16, 4, 3)),
        (8, Rect(2, 16, 4, 3)),
    ],
)
def test_a_rectangle_is_seen_where_its_orientation_puts_it(orientation: int, shown: Rect) -> None:
    assert geometry.orient_rect(orientation, 20, 10, Rect(1, 2, 3, 4)) == shown
    assert geometry.unorient_rect(orientation, 20, 10, shown) == Rect(1, 2, 3, 4)


# Sizes


def size(**values: object) -> SizeSpec:
    plain: dict[str, object] = {"slug": "s", "title": "S", "use": "print", "width": 200, "height": 250}
    return SizeSpec(**{**plain, **values})  # type: ignore[arg-type]


def problem(**values: object) -> str | None:
    return code_of(lambda: size(**values))


@pytest.mark.parametrize(
    ("values", "code"),
    [
        ({}, None),
        ({"use": "Print"}, Code.SIZE_USE),
        ({"use": "full"}, None),
        ({"file_format": "jpeg"}, Code.SIZE_FORMAT),
        ({"bits": 8, "file_format": "TIFF"}, None),
        ({"bits": 16, "file_format": "TIFF"}, None),
        ({"bits": 16}, Code.SIZE_BITS),
        ({"bits": 12, "file_format": "TIFF"}, Code.SIZE_BITS),
        ({"width": 0, "height": 0}, None),
        ({"width": 0}, Code.SIZE_SIDES),
        ({"height": 0}, Code.SIZE_SIDES),
        ({"width": -1, "height": -1}, Code.SIZE_SIDES),
        ({"quality": 0}, Code.SIZE_QUALITY),
        ({"quality": 1}, None),
        ({"quality": 100}, None),
        ({"quality": 101}, Code.SIZE_QUALITY),
        ({"ppi": 0}, Code.SIZE_QUALITY),
        ({"ppi": 1}, None),
        *[({name: -1}, Code.SIZE_NEGATIVE) for name in ("bleed", "border", "safe", "byte_cap", "min_ppi")],
        ({"border": 60, "safe": 39}, None),
        ({"border": 60, "safe": 40}, Code.SIZE_NOTHING_LEFT),
        ({"width": 300, "height": 200, "border": 100}, Code.SIZE_NOTHING_LEFT),
        ({"width": 0, "height": 0, "border": 100}, None),
    ],
)
def test_what_a_size_may_be(values: dict[str, object], code: Code | None) -> None:
    assert problem(**values) == code


@pytest.mark.parametrize(
    ("bleed", "added"), [(0, 0), (0.2, 0), (0.25, 1), (37.5, 75), (35.43, 71), (12, 24), (0.74, 1), (0.75, 2)]
)
def test_bleed_of_both_sides_is_rounded_once_half_up(bleed: float, added: int) -> None:
    """1/8 in at 300 ppi is 37.5 px a side; 3 mm is 35.43 [arithmetic]."""
    made = size(bleed=bleed)
    assert (made.bleed_px, made.out_width, made.out_height) == (added, 200 + added, 250 + added)
    assert made.ratio == Ratio(200 + added, 250 + added)


def test_the_full_frame_is_as_it_is() -> None:
    full = size(width=0, height=0, bleed=10)
    assert full.full_frame
    assert (full.out_width, full.out_height, full.ratio) == (0, 0, None)
    assert not size().full_frame


# Orders


def order(rect: Rect = RECT, tilt: float = 0.0, **values: object) -> CutOrder:
    return CutOrder(size(**{"width": 30, "height": 40, **values}), rect, tilt)


@pytest.mark.parametrize(
    ("rect", "tilt", "code"),
    [
        (RECT, 0, None),
        (Rect(70, 60, 30, 40), 0, None),
        (Rect(71, 60, 30, 40), 0, Code.ORDER_OUTSIDE),
        (Rect(70, 61, 30, 40), 0, Code.ORDER_OUTSIDE),
        (Rect(-1, 60, 30, 40), 0, Code.ORDER_OUTSIDE),
        (Rect(30, 30, 30, 40), 45, None),
        (Rect(0, 0, 30, 40), 45, Code.ORDER_TURNED_OUTSIDE),
        (Rect(0, 0, 30, 40), 1, None),  # within the pixel that rounding may need
        (Rect(0, 0, 30, 40), 5, Code.ORDER_TURNED_OUTSIDE),
        (Rect(0, 0, 31, 40), 0, None),
        (Rect(0, 0, 30, 41), 0, None),
        (Rect(0, 0, 32, 40), 0, Code.ORDER_SHAPE),
        (Rect(0, 0, 28, 40), 0, Code.ORDER_SHAPE),
        (Rect(0, 0, 40, 30), 0, Code.ORDER_SHAPE),
        (Rect(0, 0, 60, 80), 0, None),
    ],
)
def test_what_can_be_cut_in_a_frame_of_a_hundred_pixels(rect: Rect, tilt: float, code: Code | None) -> None:
    assert code_of(check_order, order(rect, tilt), 100, 100) == code


@pytest.mark.parametrize(
    ("shape", "rect", "fits"),
    [
        ((10, 100), Rect(0, 0, 10, 109), True),  # 10.9 wide would be right: a pixel off, though the height is 9 off
        ((10, 100), Rect(0, 0, 9, 114), False),  # 11 wide would be right
        ((10, 100), Rect(0, 0, 13, 114), False),
        ((100, 10), Rect(0, 0, 109, 10), True),
        ((100, 10), Rect(0, 0, 114, 9), False),
        ((100, 10), Rect(0, 0, 114, 13), False),
    ],
)
def test_one_side_may_follow_from_the_other_within_a_pixel(shape: tuple[int, int], rect: Rect, fits: bool) -> None:
    asked = order(rect, width=shape[0], height=shape[1])
    assert code_of(check_order, asked, 200, 200) == (None if fits else Code.ORDER_SHAPE)


def test_a_refused_order_says_where_it_lies() -> None:
    with pytest.raises(BadCrop) as caught:
        check_order(order(Rect(0, 0, 30, 40), 12.34), 100, 90)
    assert caught.value.told.data == {
        "width_px": 30, "height_px": 40, "x_px": 0, "y_px": 0, "size": "s", "frame_width_px": 100,
        "frame_height_px": 90, "tilt_deg": 12.3,
    }  # fmt: skip


def test_the_full_frame_has_any_shape() -> None:
    full = CutOrder(size(width=0, height=0), Rect(0, 0, 99, 3))
    assert code_of(check_order, full, 100, 100) is None
    assert full.out_size == (99, 3)
    assert order().out_size == (30, 40)
    assert order(bleed=2.5).out_size == (35, 45)


def test_an_order_is_made_in_the_labs_profile_where_it_names_one() -> None:
    assert order().target == convert.srgb_profile()
    assert order(profile="Display P3").target == profiles.build("Display P3")
    assert replace(order(), icc=b"a lab's").target == b"a lab's"
