"""The face's geometry in numbers: boxes, leans, lids, clocks and places; no networks and no pictures."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.codes import Code
from galleries.imaging.face import eyes, faces, hashes
from galleries.imaging.face.eyes import Eye
from galleries.imaging.face.faces import Face
from galleries.imaging.face.models import Detection
from galleries.imaging.face.places import eyes_place, from_corner
from galleries.told import told
from tests.imaging.heads import head

FACE = head(1000, 800, 160, roll=10)


# Boxes


@pytest.mark.parametrize(
    ("other", "share"),
    [
        ((0, 0, 10, 10), 1.0),
        ((5, 0, 10, 10), 0.5),
        ((5, 5, 10, 10), 0.25),
        ((2, 2, 4, 4), 1.0),  # of the smaller box
        ((0, 0, 20, 40), 1.0),
        ((10, 0, 10, 10), 0.0),
        ((0, 10, 10, 10), 0.0),
        ((30, 30, 5, 5), 0.0),  # apart on both axes is not two negatives
        ((-5, -5, 10, 10), 0.25),
        ((3, 3, 0, 0), 0.0),
    ],
)
def test_the_common_area_is_a_share_of_the_smaller_box(other: tuple[float, ...], share: float) -> None:
    box = (0.0, 0.0, 10.0, 10.0)
    assert faces._overlap(box, other) == pytest.approx(share)  # type: ignore[arg-type]
    assert faces._overlap(other, box) == pytest.approx(share)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("length", "side", "starts"),
    [(100, 100, [0]), (80, 100, [0]), (101, 100, [0, 1]), (150, 100, [0, 50]), (151, 100, [0, 26, 51]),
     (300, 100, [0, 50, 100, 150, 200])],
)  # fmt: skip
def test_tiles_cover_a_length_and_share_half(length: int, side: int, starts: list[int]) -> None:
    assert faces._starts(length, side) == starts


@given(st.integers(1, 9000), st.integers(96, 3000))
def test_tiles_leave_nothing_out(length: int, side: int) -> None:
    starts = faces._starts(length, side)
    assert starts[0] == 0
    assert length <= side or starts[-1] + side == length
    assert all(after - before <= math.ceil(side / 2) for before, after in itertools.pairwise(starts))


def spot(ax: float, ay: float, bx: float, by: float) -> Detection:
    return Detection((1, 2, 3, 4), (ax, ay), (bx, by), 0.9)


@pytest.mark.parametrize(
    ("eye", "degrees"), [((10, 0), 0), ((10, 10), 45), ((0, 10), 90), ((-10, 0), 180), ((10, -10), -45)]
)
def test_a_lean_is_the_slope_of_the_eye_line(eye: tuple[float, float], degrees: float) -> None:
    assert math.degrees(faces._lean(spot(3, 4, 3 + eye[0], 4 + eye[1]))) == pytest.approx(degrees)


def test_a_detection_is_moved_whole() -> None:
    assert faces._shifted(spot(5, 6, 7, 8), 10, 20) == Detection((11, 22, 3, 4), (15, 26), (17, 28), 0.9)


def test_a_square_round_turned_points_is_half_as_large_again() -> None:
    points = np.array([(0, 0, 0), (100, 0, 0), (100, 60, 0), (0, 60, 0)], np.float64)
    for degrees in (0, 30, -75):
        turn = math.radians(degrees)
        matrix = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        turned = points.copy()
        turned[:, :2] = points[:, :2] @ matrix.T
        centre, side, angle = faces._square_round(turned, turn)
        assert centre == pytest.approx(tuple(matrix @ (50, 30)))
        assert (side, angle) == (pytest.approx(150), turn)


class Looks:
    """Stands for the detector: answers one look after the other, in a patch of 384 px that shows four boxes a side."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *leans: float | None, off: float = 0.0) -> None:
        self.leans, self.off, self.seen = leans, off, 0
        monkeypatch.setattr(faces.models, "detect", self.answer)

    def answer(self, patch: np.ndarray) -> list[Detection]:
        assert patch.shape == (384, 384, 3)
        lean = self.leans[self.seen]
        self.seen += 1
        if lean is None:
            return []
        dx, dy = 24 * math.cos(math.radians(lean)), 24 * math.sin(math.radians(lean))
        eyes = (192 + self.off - dx, 180 - dy), (192 + self.off + dx, 180 + dy)
        return [Detection((144 + self.off, 144, 96, 96), *eyes, 0.95)]


FRAME = np.zeros((400, 400, 3), np.uint8)
LEVEL = Detection((100, 100, 20, 20), (105, 108), (115, 108), 0.6)
STEEP = Detection((100, 100, 90, 90), (130, 120), (150, 160), 0.6)


def test_a_large_upright_face_is_not_looked_at_again(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = Looks(monkeypatch)
    large = Detection((100, 100, 90, 90), (130, 140), (160, 145), 0.6)
    assert faces._closer(FRAME, large) is large
    assert looks.seen == 0


@pytest.mark.parametrize("spot", [LEVEL, STEEP])
def test_a_small_or_leaning_face_is_looked_at_until_it_stands_level(
    monkeypatch: pytest.MonkeyPatch, spot: Detection
) -> None:
    looks = Looks(monkeypatch, 4.0)
    found = faces._closer(FRAME, spot)
    assert looks.seen == 1
    assert found.score == 0.95
    assert math.degrees(faces._lean(found) - faces._lean(spot)) == pytest.approx(4)
    assert found.box == pytest.approx(spot.box, abs=0.7)  # half a pixel of the patch


def test_three_looks_are_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    looks = Looks(monkeypatch, 20.0, 20.0, 20.0, 20.0)
    found = faces._closer(FRAME, LEVEL)
    assert looks.seen == 3
    assert math.degrees(faces._lean(found)) == pytest.approx(60)
    looks = Looks(monkeypatch, 20.0, 1.0, 0.0)
    assert math.degrees(faces._lean(faces._closer(FRAME, LEVEL))) == pytest.approx(21)
    assert looks.seen == 2


def test_a_look_that_finds_nothing_or_somebody_else_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    Looks(monkeypatch, None)
    assert faces._closer(FRAME, LEVEL) is LEVEL
    Looks(monkeypatch, 0.0, off=60.0)
    assert faces._closer(FRAME, LEVEL) is LEVEL


# Lids and pupils


def lid(width: float, height: float, turn: float = 0.0) -> np.ndarray:
    """Sixteen points: the corners at 0 and 8, three heights between 3-11, 4-12 and 5-13."""
    points = np.zeros((16, 2))
    points[0], points[8] = (-width / 2, 0), (width / 2, 0)
    for top, bottom, x in ((3, 11, -1.0), (4, 12, 0.0), (5, 13, 1.0)):
        points[top], points[bottom] = (x, -height / 2), (x, height / 2)
    cos, sin = math.cos(turn), math.sin(turn)
    return points @ np.array([[cos, sin], [-sin, cos]])


@pytest.mark.parametrize("turn", [0.0, 0.7])
@pytest.mark.parametrize(("width", "height"), [(30, 9), (30, 0), (10, 10)])
def test_openness_is_height_over_width_however_the_head_leans(width: float, height: float, turn: float) -> None:
    assert faces._openness(lid(width, height, turn)) == pytest.approx(height / width)


def test_openness_is_the_mean_of_three_heights() -> None:
    points = lid(30, 9)
    points[12, 1] += 9
    assert faces._openness(points) == pytest.approx((9 + 18 + 9) / 3 / 30)
    assert faces._openness(np.zeros((16, 2))) is None


@pytest.mark.parametrize("hour", range(1, 13))
def test_hours_stand_on_the_clock_and_take_half_an_hour_on_both_sides(hour: int) -> None:
    for off in (-14, 0, 14):
        turn = math.radians(hour * 30 + off)
        assert eyes.clock_hour(math.sin(turn), math.cos(turn)) == hour
    turn = math.radians(hour * 30 + 16)
    assert eyes.clock_hour(math.sin(turn), math.cos(turn)) == hour % 12 + 1


SMALL = told(Code.UNKNOWN_IRIS, radius_px=3, least_px=14)
DARK, DIFFER = told(Code.UNKNOWN_DARK_PUPIL), told(Code.UNKNOWN_PUPILS_DIFFER)


@pytest.mark.parametrize(
    ("right", "left", "agreed"),
    [
        (0.4, 0.4, (0.4, 0.4)),
        (0.4, 0.52, (0.4, 0.52)),
        (0.52, 0.4, (0.52, 0.4)),
        (0.4, 0.53, (DIFFER, DIFFER)),
        (0.53, 0.4, (DIFFER, DIFFER)),
        (0.4, DARK, (DARK, DARK)),
        (DARK, 0.4, (DARK, DARK)),
        (0.4, SMALL, (0.4, SMALL)),
        (SMALL, 0.4, (SMALL, 0.4)),
        (SMALL, DARK, (DARK, DARK)),
    ],
)
def test_two_pupils_of_one_person_agree_or_are_not_believed(right: object, left: object, agreed: object) -> None:
    assert eyes.agreed_pupils(right, left) == agreed  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("values", "share", "value"), [([3, 1, 2], 0.0, 1), ([3, 1, 2], 0.34, 2), ([3, 1, 2], 0.99, 3), ([3, 1, 2], 1.0, 3)]
)
def test_a_quantile_is_a_value_that_is_there(values: list[int], share: float, value: int) -> None:
    assert eyes._quantiles(np.array([values, values], float), share)[0].tolist() == [value, value]
    assert eyes._quantiles(np.array([values, values], np.uint8), share)[0].tolist() == [value, value]


@pytest.mark.parametrize("shape", [(5, 62, 62), (2, 9, 30), (1, 30, 9), (3, 1, 4), (1, 200, 3)])
@pytest.mark.parametrize("share", [0.9, 0.995, 1.0])
@pytest.mark.parametrize("codes", [3, 256, 100_000])
def test_a_high_quantile_is_what_stands_there_in_the_order(shape: tuple[int, ...], share: float, codes: int) -> None:
    patches = np.random.default_rng(codes).integers(0, codes, shape).astype(np.float32)
    ordered = np.sort(patches.reshape(shape[0], -1), axis=1)
    at = min(ordered.shape[1] - 1, int(share * ordered.shape[1]))
    assert eyes._high_quantile(patches, share).tolist() == ordered[:, at].tolist()


def test_only_what_the_lid_leaves_free_counts() -> None:
    square = ((12.0, 21.0), (16.0, 21.0), (16.0, 24.0), (12.0, 24.0))
    mask = eyes._inside_lid((8, 10), Eye((14, 22), 3, square, 0.3), 10, 20)
    expected = np.zeros((8, 10), bool)
    expected[1:5, 2:7] = True  # a filled polygon holds its own edge
    assert np.array_equal(mask, expected)
    assert eyes._inside_lid((8, 10), Eye((14, 22), 3, square[:2], 0.3), 10, 20).all()


@pytest.mark.parametrize(
    ("centre", "found"), [((10, 10), True), ((5, 5), True), ((4.9, 5), False), ((5, 4.9), False), ((14, 14), True),
                          ((14.1, 14), False), ((14, 14.1), False)]
)  # fmt: skip
def test_a_patch_that_leaves_the_frame_is_none(centre: tuple[float, float], found: bool) -> None:
    patch = eyes._patch(np.zeros((20, 20, 3), np.uint8), centre, 5)
    assert (patch is not None) is found
    if patch:
        assert patch[0].shape == (11, 11)
        assert patch[1:] == (centre[0] - 5, centre[1] - 5)


@pytest.mark.parametrize(
    ("eye", "code"),
    [
        (Eye((50, 50), 9.9, (), 0.3), Code.UNKNOWN_IRIS),
        (Eye((50, 50), 10, (), 0.179), Code.UNKNOWN_CLOSED),
        (Eye((5, 50), 10, (), 0.3), Code.UNKNOWN_EDGE),
        (Eye((50, 50), 10, ((50.0, 50.0), (51.0, 50.0), (51.0, 51.0)), 0.3), Code.UNKNOWN_NEARLY_CLOSED),
    ],
)
def test_catch_lights_are_unknown_for_a_reason(eye: Eye, code: Code) -> None:
    found = eyes.catch_lights(np.zeros((100, 100, 3), np.uint8), eye)
    assert not isinstance(found, tuple)
    assert found.code == code


@pytest.mark.parametrize("openness", [None, 0.18, 0.3])
def test_an_open_dark_eye_without_a_light_has_none(openness: float | None) -> None:
    assert eyes.catch_lights(np.zeros((100, 100, 3), np.uint8), Eye((50, 50), 10, (), openness)) == ()


def iris(*lights: tuple[int, int, int], radius: int = 20) -> np.ndarray:
    """A dark iris round (50, 50) with square lights (x, y, side)."""
    rgb = np.full((100, 100, 3), 60, np.uint8)
    for x, y, side in lights:
        rgb[y : y + side, x : x + side] = 250
    return rgb


@pytest.mark.parametrize(
    ("light", "found"),
    [
        ((49, 40, 3), True),
        ((50, 41, 1), False),  # 1 of 1257 pixels: less than 0.3 %
        ((49, 41, 2), True),  # 4 of 1257
        ((40, 40, 15), True),  # 225: 17.9 %
        ((40, 40, 17), False),  # 289: 23 %
        ((49, 34, 3), False),  # 0.75 of the radius away
        ((49, 36, 3), True),  # 0.65
    ],
)
def test_a_light_has_its_size_and_its_place(light: tuple[int, int, int], found: bool) -> None:
    lights = eyes.catch_lights(iris(light), Eye((50, 50), 20, (), 0.3))
    assert isinstance(lights, tuple)
    assert (len(lights) == 1) is found


def test_lights_are_told_by_hour_distance_and_area_the_largest_first() -> None:
    lights = eyes.catch_lights(iris((59, 49, 3), (47, 57, 4)), Eye((50, 50), 20, (), 0.3))
    assert isinstance(lights, tuple)
    whole = math.pi * 400
    assert [(light.clock, light.area) for light in lights] == [(6, round(16 / whole, 4)), (3, round(9 / whole, 4))]
    assert lights[1].distance == 0.5


# Faces as numbers


def test_middle_and_distance_of_the_eyes() -> None:
    assert FACE.eye_middle == pytest.approx((1000, 800))
    assert FACE.eye_distance == pytest.approx(160)


@pytest.mark.parametrize("factor", [0.5, 2.0, 3.7])
def test_every_point_and_length_is_scaled(factor: float) -> None:
    """Pixel middles: x becomes (x + 0.5) × factor - 0.5; lengths become factor times as long."""
    made = FACE.scaled(factor)

    def at(value: float) -> float:
        return (value + 0.5) * factor - 0.5

    for name in ("right_eye", "left_eye", "chin", "forehead", "mouth"):
        assert getattr(made, name) == pytest.approx([at(value) for value in getattr(FACE, name)]), name
    assert made.crown_y == pytest.approx(at(FACE.crown_y))
    assert made.box[:2] == pytest.approx([at(value) for value in FACE.box[:2]])
    for name in ("crown_uncertainty", "iris_radius_right", "iris_radius_left", "eye_distance"):
        assert getattr(made, name) == pytest.approx(getattr(FACE, name) * factor), name
    assert made.box[2:] == pytest.approx([value * factor for value in FACE.box[2:]])
    assert [at(x) for x, _ in FACE.oval] == pytest.approx([x for x, _ in made.oval])
    for name in ("roll_deg", "yaw_hint", "score", "right_openness", "crown_measured"):
        assert getattr(made, name) == getattr(FACE, name), name


def test_a_moved_face_is_only_moved() -> None:
    moved = FACE.moved(-10, 25)
    assert moved.chin == pytest.approx((FACE.chin[0] - 10, FACE.chin[1] + 25))
    assert moved.crown_y == pytest.approx(FACE.crown_y + 25)
    assert moved.box == pytest.approx((FACE.box[0] - 10, FACE.box[1] + 25, *FACE.box[2:]))
    assert moved.eye_distance == pytest.approx(160)
    assert moved.moved(10, -25).right_eye == pytest.approx(FACE.right_eye)


def test_json_rounds_to_a_thousandth_and_ignores_what_it_does_not_know() -> None:
    odd = replace(FACE, right_eye=(1.23456, 2.0), left_openness=None, right_lid=((1.0, 2.0), (3.0, 4.0)))
    plain = odd.as_dict()
    assert plain["right_eye"] == [1.235, 2.0]
    found = Face.from_dict({**plain, "colour": "blue"})
    assert found.right_lid == ((1.0, 2.0), (3.0, 4.0))
    assert found.left_openness is None
    assert found.as_dict() == plain


def weighed(*boxes: tuple[float, float, float, float]) -> list[tuple[float, float, float, float]]:
    found = faces._finding(np.zeros((1000, 1000, 3), np.uint8), [replace(FACE, box=box) for box in boxes])
    assert found.face is not None
    return [found.face.box, *(other.box for other in found.others)]


def test_the_subject_is_large_and_near_the_middle() -> None:
    middle, corner = (400.0, 400.0, 200.0, 200.0), (0.0, 0.0, 200.0, 200.0)
    assert weighed(corner, middle) == [middle, corner]
    large = (0.0, 0.0, 300.0, 300.0)  # 0.7 of the way to the corner: 90000 × 0.58 against 40000
    assert weighed(middle, large) == [large, middle]
    larger = (0.0, 0.0, 250.0, 250.0)  # 62500 × 0.55 against 40000
    assert weighed(larger, middle) == [middle, larger]


def test_one_face_and_several_are_told() -> None:
    rgb = np.zeros((1000, 1000, 3), np.uint8)
    assert faces._finding(rgb, [FACE]).reason == told(Code.ONE_FACE)
    assert faces._finding(rgb, [FACE, FACE, FACE]).reason == told(Code.SEVERAL_FACES, faces=3)


# Places


def test_a_pixels_middle_lies_half_a_pixel_from_its_corner() -> None:
    assert from_corner((0.0, 10.25)) == (0.5, 10.75)


@pytest.mark.parametrize(
    ("right", "left", "size", "place"),
    [
        ((99.5, 49.5), (199.5, 59.5), (1000, 500), (0.15, 0.11, 0.1)),
        ((199.5, 49.5), (99.5, 59.5), (1000, 500), (0.15, 0.11, 0.1)),
        (None, (199.5, 59.5), (1000, 500), None),
        ((99.5, 49.5), None, (1000, 500), None),
        ((99.5, 49.5), (199.5, 59.5), (0, 500), None),
        ((99.5, 49.5), (199.5, 59.5), (1000, None), None),
    ],
)
def test_the_place_of_the_eyes_is_a_share_of_the_picture(
    right: object, left: object, size: tuple[int, int], place: tuple[float, ...] | None
) -> None:
    found = eyes_place(right, left, *size)  # type: ignore[arg-type]
    assert (found and (found.x, found.y, found.gap)) == place


# Hashes


@given(st.integers(0, 2**64 - 1), st.integers(0, 63))
def test_one_bit_is_a_distance_of_one(code: int, bit: int) -> None:
    assert hashes.distance(code, code ^ 1 << bit) == 1
    assert hashes.distance(code, code) == 0


def test_all_bits_are_counted() -> None:
    assert hashes.distance(0, 2**64 - 1) == 64
    assert hashes.distance(0b1010, 0b0101) == 4
