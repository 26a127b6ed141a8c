"""What is said of a crop: every warning just before and just after its bound, for a head known in numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.framing import crops
from galleries.imaging.framing.crops import CHIN_ROOM, EYE_LINE, HEADROOM, Head, warnings_for
from galleries.imaging.framing.geometry import Ratio, Rect, shapes_inside
from galleries.imaging.framing.sizes import SizeSpec
from tests.imaging.heads import head

FRAME = (2000, 3000)
SIZE = SizeSpec("s", "S", "print", 800, 1000)
CROP = Rect(600, 620, 800, 1000)
# eyes 160 px apart at (1000, 1000): chin 272 below them, crown 272 × 1.15 above
FACE = head(1000 - 0.5, 1000 - 0.5, 160)


def codes(rect: Rect = CROP, size: SizeSpec = SIZE, face: object = FACE, tilt: float = 0.0) -> list[str]:
    return [told.code for told in warnings_for(rect, FRAME, face, size, tilt_deg=tilt)]  # type: ignore[arg-type]


def test_a_good_crop_has_nothing_to_say() -> None:
    assert codes() == []


# Pixels


def test_a_crop_outside_its_frame_is_said_with_the_frame() -> None:
    (told,) = warnings_for(Rect(1201, 620, 800, 1000), FRAME, head(1400, 1000, 160), SIZE)
    assert (told.code, told.data) == (Code.OUTSIDE, {"width_px": 2000, "height_px": 3000})


def test_a_turned_crop_counts_with_its_corners() -> None:
    edge = Rect(0, 620, 800, 1000)
    beside = head(400 - 0.5, 1000 - 0.5, 160)
    assert Code.OUTSIDE not in codes(edge, face=beside)
    assert Code.OUTSIDE in codes(edge, face=beside, tilt=3.0)


@pytest.mark.parametrize(("rect", "said"), [(CROP, False), (Rect(600, 620, 802, 1000), True)])
def test_another_shape_is_said(rect: Rect, said: bool) -> None:
    assert (Code.SHAPE in codes(rect)) is said


def test_enlarging_is_said_in_times() -> None:
    found = warnings_for(Rect(640, 660, 640, 800), FRAME, None, SIZE)
    assert found[0].code == Code.TO_ENLARGE
    assert found[0].data["enlarged_times"] == 1.25
    assert Code.TO_ENLARGE not in codes(face=None)


@pytest.mark.parametrize(("least", "said"), [(0, False), (239, False), (240, False), (241, True), (300, True)])
def test_ppi_are_those_of_the_print(least: int, said: bool) -> None:
    """800 px printed as 1000 at 300 ppi are 240 ppi [arithmetic]."""
    assert (Code.FEW_PPI in codes(Rect(640, 660, 640, 800), replace(SIZE, min_ppi=least))) is said


def test_the_full_frame_is_only_asked_whether_it_lies_inside() -> None:
    full = replace(SIZE, width=0, height=0, min_ppi=9000)
    assert codes(Rect(0, 0, 2000, 3000), full, None) == []
    assert codes(Rect(0, 0, 2001, 3000), full, None) == [Code.OUTSIDE]


def test_a_face_that_is_not_known_is_said() -> None:
    assert codes(face=None) == [Code.FACE_NOT_KNOWN]

    class Reading:
        face = None

    assert codes(face=Reading()) == [Code.FACE_NOT_KNOWN]
    Reading.face = FACE
    assert codes(face=Reading()) == []


# Head. The crop is moved so that each part of the head comes to stand at its bound.


CHIN, CROWN = 1272, 1000 - 272 * 1.15


@pytest.mark.parametrize(("bottom", "code"), [(CHIN - 1, Code.CHIN_CUT), (CHIN + 1, None)])
def test_the_chin_is_cut_where_the_crop_ends_above_it(bottom: int, code: Code | None) -> None:
    found = codes(Rect(600, bottom - 1000, 800, 1000))
    assert (Code.CHIN_CUT in found) is (code is not None)
    assert Code.CHIN_UNSAFE not in found


@pytest.mark.parametrize(
    ("below", "code"),
    [
        (29, Code.CHIN_CUT),
        (31, Code.CHIN_MAY_BE_CUT),
        (50, Code.CHIN_MAY_BE_CUT),  # the outline is known to 0.08 of 252 px, see `faces.MENTON_UNCERTAINTY`
        (51, Code.CHIN_UNSAFE),
        (79, Code.CHIN_UNSAFE),
        (81, None),
    ],
)
def test_bleed_is_cut_away_and_the_safe_room_behind_it_is_near(below: int, code: Code | None) -> None:
    """30 px of bleed and 50 px of safe room a side, in a crop as large as its file."""
    size = SizeSpec("s", "S", "print", 740, 940, bleed=30, safe=50)
    rect = Rect(600, CHIN + below - 1000, 800, 1000)
    assert [c for c in codes(rect, size) if "chin" in c] == ([code] if code else [])


@pytest.mark.parametrize("measured", [True, False])
@pytest.mark.parametrize(
    ("cut", "uncertainty", "code"),
    [(-2, 5, None), (3, 5, Code.CROWN_MAY_BE_CUT), (8, 5, Code.CROWN_CUT), (8, 60, Code.CROWN_MAY_BE_CUT)],
)
def test_a_cut_crown_is_certain_or_possible(cut: int, uncertainty: float, code: Code | None, measured: bool) -> None:
    face = replace(FACE, crown_uncertainty=uncertainty, crown_measured=measured)
    rect = Rect(600, math.ceil(CROWN) + cut, 800, 1000)
    assert [c for c in codes(rect, face=face) if "crown" in c] == ([code] if code else [])


def test_sides_of_the_head_are_kept_on_both_sides() -> None:
    half = max(FACE.box[2] / 2, FACE.eye_distance)
    middle = (1000 + FACE.box[0] + FACE.box[2] / 2 + 0.5) / 2
    left, right = middle - half, middle + half
    for x, cut in ((math.floor(left), False), (math.ceil(left) + 1, True)):
        assert (Code.SIDE_CUT in codes(Rect(x, 620, 800, 1000))) is cut
    for x, cut in ((math.ceil(right) - 800, False), (math.floor(right) - 801, True)):
        assert (Code.SIDE_CUT in codes(Rect(x, 620, 800, 1000))) is cut


@pytest.mark.parametrize(("share", "said"), [(0.31, True), (0.33, False), (0.42, False), (0.44, True)])
def test_the_eye_line_has_its_place(share: float, said: bool) -> None:
    """A third to 42 % from the top (common practice, no source), and a hundredth of tolerance."""
    found = warnings_for(Rect(600, round(1000 - share * 1000), 800, 1000), FRAME, FACE, SIZE)
    lines = [told for told in found if told.code == Code.EYE_LINE]
    assert bool(lines) is said
    if said:
        assert lines[0].data == {"eyes_share": share, "least_share": 0.33, "most_share": 0.42}


@pytest.mark.parametrize(
    ("height", "code"), [(900, Code.HEAD_LARGE), (960, None), (1000, None), (1500, None), (1600, Code.HEAD_SMALL)]
)
def test_the_head_takes_forty_to_sixty_percent_of_a_four_to_five(height: int, code: Code | None) -> None:
    """The head is 272 + 312.8 = 584.8 px high: 0.65, 0.609, 0.585, 0.39 and 0.366 of these heights; tolerance 0.02."""
    width = height * 4 // 5
    rect = Rect(1000 - width // 2, round(1000 - 0.38 * height), width, height)
    assert [c for c in codes(rect) if c in (Code.HEAD_LARGE, Code.HEAD_SMALL)] == ([code] if code else [])


# Shares and rules


@pytest.mark.parametrize(
    ("ratio", "stretch"), [(Ratio(4, 5), 1.0), (Ratio(1, 1), 1.118034), (Ratio(16, 9), 1.490712), (Ratio(1, 5), 0.5)]
)
def test_the_heads_share_goes_with_the_root_of_the_shape(ratio: Ratio, stretch: float) -> None:
    assert crops.head_shares(ratio) == pytest.approx((0.40 * stretch, 0.60 * stretch), rel=1e-6)


@pytest.mark.parametrize(("value", "beyond"), [(0.3, 0.03), (0.33, 0), (0.4, 0), (0.42, 0), (0.5, 0.08)])
def test_how_far_a_value_is_beyond_its_bounds(value: float, beyond: float) -> None:
    assert float(crops._beyond(np.array(value), EYE_LINE)) == pytest.approx(beyond)


@pytest.mark.parametrize(
    ("wanted", "low", "high", "found"),
    [
        (5.4, 0, 10, 5),
        (5.5, 0, 10, 6),
        (-3, 0.2, 10, 1),
        (30, 0, 9.8, 9),
        (3, 3.0000000001, 9, 3),
        (3, 2, 2.9999999999, 3),
        (5, 5.2, 5.8, None),
        (5, 7, 6, None),
    ],
)
def test_the_nearest_whole_number_between_two_bounds(wanted: float, low: float, high: float, found: int | None) -> None:
    nearest, fits = crops._whole_between(*(np.array([value]) for value in (wanted, low, high)))
    assert [int(one) for one in nearest[fits]] == ([] if found is None else [found])


def search(**values: float) -> crops._Search:
    plain = {
        "eye_x": 1000.0,
        "eye_y": 1000.0,
        "crown": 700.0,
        "chin": 1200.0,
        "left": 800.0,
        "right": 1200.0,
        "looks": 0.0,
    }
    return crops._Search(*FRAME, Head(**{**plain, **values}), (999.5, 999.5), 0.0, crops.head_shares(Ratio(4, 5)))


def cost(tried: crops._Search, rect: Rect) -> float:
    left, top, width, height = (np.array(side) for side in (*tried.upright(rect), rect.width, rect.height))
    return float(tried._cost(left, top, width, height))


def pull(tried: crops._Search, rect: Rect) -> float:
    return float(tried._pull(np.array(tried.upright(rect)[1]), np.array(rect.height)))


def place(tried: crops._Search, top: float, width: int, height: int) -> Rect | None:
    x, y, fits = tried._place(*(np.array(float(value)) for value in (top, width, height)))
    return Rect(int(x), int(y), width, height) if fits else None


KEPT = Rect(600, 625, 800, 1000)  # eyes at 0.375, headroom 0.075, head 0.5, chin room 0.425


def test_a_crop_that_keeps_every_rule_costs_nothing() -> None:
    assert cost(search(), KEPT) == 0


@pytest.mark.parametrize(
    ("rect", "values", "price"),
    [
        (KEPT, {"eye_y": 1065.0}, 3 * 0.02),  # the eye line 2 % too low
        (KEPT, {"eye_y": 945.0}, 3 * 0.01),
        (KEPT, {"crown": 635.0}, 2 * 0.02),  # 1 % of headroom where 3 are wanted; the head is 0.565
        (KEPT, {"crown": 745.0}, 0.02),
        (KEPT, {"chin": 1595.0}, 100 * 0.01 + 0.5 * 0.295),  # 3 % of room under the chin, and a head of 0.895
        (KEPT, {"left": 584.0}, 50 * 0.02),
        (KEPT, {"right": 1416.0}, 50 * 0.02),
        (KEPT, {"eye_x": 1024.0}, 0.5 * 0.02),  # 3 % off the middle, one of them forgiven
        (KEPT, {"looks": 0.5}, 0.5 * 0.02),  # looking right wants 3 % more room there
        (KEPT, {"chin": 1070.0}, 0.5 * 0.03),  # a head of 0.37
    ],
)
def test_each_rule_has_its_price(rect: Rect, values: dict[str, float], price: float) -> None:
    assert cost(search(**values), rect) == pytest.approx(price)


def test_a_crown_that_the_frame_cuts_costs_nothing() -> None:
    low = Rect(600, 0, 800, 1000)
    assert cost(search(eye_y=375.0, crown=-80.0, chin=560.0), low) == pytest.approx(2 * HEADROOM[0])


@pytest.mark.parametrize(
    ("values", "share"),
    [
        ({"crown": 690.0}, 0.0),  # headroom 0.065, the head 0.51
        ({"crown": 690.0, "eye_y": 1045.0}, 0.001),  # the eye line at its bound
        ({"crown": 690.0, "eye_y": 1022.5}, 0.00025),  # and half-way to it
        ({"crown": 725.0}, 0.001),
        ({"crown": 690.0, "eye_y": 1300.0}, 0.001),  # no more beyond it: there the rule counts
    ],
)
def test_the_middle_of_each_rule_pulls(values: dict[str, float], share: float) -> None:
    """Beside headroom, eyes at 0.375 of KEPT; the chin stands so that the head takes half of it."""
    where = {"eye_y": 1000.0, **values}
    assert pull(search(**where, chin=where["crown"] + 500), KEPT) == pytest.approx(share, abs=1e-9)


def test_a_crop_that_would_be_enlarged_is_pulled_looser() -> None:
    plain = search()
    assert pull(replace(plain, out_height=1000), KEPT) == pull(plain, KEPT)
    assert pull(replace(plain, out_height=1250), KEPT) - pull(plain, KEPT) == pytest.approx(0.05 * 0.2)


def test_room_is_given_on_the_side_that_is_looked_to() -> None:
    middle, right, left = (place(search(looks=looks), 600, 800, 1000) for looks in (0.0, 1.0, -1.0))
    assert middle is not None
    assert right is not None
    assert left is not None
    assert (middle.x, right.x, left.x) == (600, 648, 552)  # 6 % of 800
    assert place(search(looks=9.0), 600, 800, 1000) == right


def test_no_place_where_the_frame_is_too_small() -> None:
    assert place(search(), 600, 2001, 1000) is None
    assert place(search(), 600, 2000, 3001) is None
    assert place(search(), 600, 2000, 3000) == Rect(0, 0, 2000, 3000)


@pytest.mark.parametrize(
    ("frame", "ratio", "first", "last", "count"),
    [
        ((1000, 1000), Ratio(4, 5), (4, 5), (800, 1000), 200),
        ((100, 100), Ratio(4, 5), (1, 1), (80, 100), 100),
        ((1000, 2000), Ratio(620, 877), (1, 1), (1000, 1415), 1415),
        ((40, 30), Ratio(16, 9), (1, 1), (40, 23), 40),
    ],
)
def test_shapes_are_whole_steps_where_steps_are_small(
    frame: tuple[int, int], ratio: Ratio, first: tuple[int, int], last: tuple[int, int], count: int
) -> None:
    shapes = shapes_inside(*frame, ratio)
    assert (shapes[0], shapes[-1], len(shapes)) == (first, last, count)
    assert all(w <= frame[0] and h <= frame[1] for w, h in shapes)


def test_chin_room_is_part_of_the_tops_that_are_tried() -> None:
    tops = search()._tops(np.array(1000.0))
    assert 1200 + CHIN_ROOM * 1000 - 1000 in tops
    assert [1000 - share * 1000 for share in EYE_LINE] == pytest.approx(tops[4:2:-1])
    assert tops[1] <= tops[0] <= tops[2]
    measures = (1000 - tops[0]) / 1000, (700 - tops[0]) / 1000
    both = zip(measures, (EYE_LINE, HEADROOM), strict=True)
    aims = [(value - sum(rule) / 2) / (rule[1] - rule[0]) ** 2 for value, rule in both]
    assert sum(aims) == pytest.approx(0)  # the square of both together is least where their slopes cancel
