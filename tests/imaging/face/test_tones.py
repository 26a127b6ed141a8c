"""Colours and light of a painted head in numbers; squares cut for the networks; lids that cannot be read.

Lab values come from colour-science, an independent library, within 0.5 (OpenCV looks its curve up);
stops are powers of two of luminance [arithmetic].
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import colour
import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.face import models, reading, tones
from galleries.imaging.face.eyes import Eye
from galleries.imaging.face.models import Detection
from galleries.told import Told, told
from tests.imaging.core_pictures import painted
from tests.imaging.heads import head

SHAPE = (300, 240, 3)
FACE = head(120, 100, 40)
SKIN, WALL, CLOTH = (190, 140, 115), (120, 125, 130), (40, 60, 110)


def lab_of(rgb: tuple[int, int, int]) -> np.ndarray:
    xyz = colour.sRGB_to_XYZ(np.array(rgb) / 255)
    return np.asarray(colour.XYZ_to_Lab(xyz, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]))


def scene(skin: tuple[int, int, int] = SKIN) -> np.ndarray:
    """A wall, a face and clothes from under the chin down, each of one colour."""
    rgb = np.full(SHAPE, WALL, np.uint8)
    rgb[int(FACE.menton[1]) + 12 :] = CLOTH
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    rgb[np.hypot((x - 120) / 46, (y - 118) / 60) <= 1] = skin
    return rgb


# Where skin, wall and cloth are looked for


def test_skin_is_the_face_without_eyes_and_mouth() -> None:
    mask = tones.face_mask(SHAPE, FACE)
    assert not mask[100, 100]
    assert not mask[100, 140]
    assert not mask[round(FACE.mouth[1]), round(FACE.mouth[0])]
    assert mask[100, 120]
    assert mask[120, 120]
    assert mask[round(FACE.menton[1]) - 8, 120]
    ys, xs = np.nonzero(mask)
    oval = np.array(FACE.oval)
    reach = np.ptp(oval, axis=0) * 0.9 / 2
    assert (xs.max() - xs.min()) / 2 == pytest.approx(reach[0], abs=1.5)
    assert (ys.max() - ys.min()) / 2 == pytest.approx(reach[1], abs=1.5)


def test_the_backdrop_is_beside_and_above_the_head() -> None:
    mask = tones.backdrop_mask(SHAPE, FACE)
    assert mask[60, 20]
    assert mask[60, 220]
    assert not mask[60, 120]
    assert not mask[60, 40]
    assert not mask[200, 20]
    high = replace(FACE, crown_y=60.0, crown_uncertainty=10.0)
    above = tones.backdrop_mask(SHAPE, high)
    assert above[49, 120]
    assert not above[51, 120]
    assert not tones.backdrop_mask(SHAPE, replace(FACE, crown_y=5.0))[0, 120]


def test_without_a_face_the_upper_edges_are_the_backdrop() -> None:
    mask = tones.backdrop_mask(SHAPE, None)
    assert mask[100, 0]
    assert mask[100, 239]
    assert not mask[100, 120]
    assert not mask[299, 120]


# What is seen there


@pytest.mark.parametrize("rgb", [SKIN, WALL, CLOTH, (255, 255, 255), (0, 0, 0)])
def test_lab_is_that_of_colour_science(rgb: tuple[int, int, int]) -> None:
    assert tones.to_lab(np.array([[rgb]], np.uint8))[0, 0] == pytest.approx(lab_of(rgb), abs=0.4)


def test_a_scene_of_three_colours_is_read_as_those() -> None:
    rgb = scene()
    lab = tones.to_lab(rgb)
    backdrop = tones.middle_lab(lab, tones.backdrop_mask(SHAPE, FACE))
    assert backdrop == pytest.approx(lab_of(WALL), abs=0.4)
    seen = tones.face_tones(rgb, lab, FACE)
    assert seen is not None
    skin = lab_of(SKIN)
    assert seen.median_l == pytest.approx(skin[0], abs=0.4)
    assert seen.skin_ab == pytest.approx(skin[1:], abs=0.4)
    assert (seen.light_x, seen.light_y, seen.clipped_high, seen.clipped_low) == (0, 0, 0, 0)
    wardrobe = tones.wardrobe_lab(lab, FACE, (seen.median_l, *seen.skin_ab), backdrop)
    assert wardrobe == pytest.approx(lab_of(CLOTH), abs=0.5)


def test_the_middle_is_without_the_darkest_and_lightest_tenth() -> None:
    lab = np.zeros((10, 10, 3), np.float32)
    lab[..., 0] = np.arange(100).reshape(10, 10)
    lab[..., 1] = np.where(lab[..., 0] < 10, 500, 3)
    found = tones.middle_lab(lab, np.ones((10, 10), bool))
    assert found == (49.5, 3.0, 0.0)


@pytest.mark.parametrize(("count", "known"), [(39, False), (40, True)])
def test_too_few_pixels_have_no_middle(count: int, known: bool) -> None:
    mask = np.zeros((10, 10), bool)
    mask.flat[:count] = True
    assert (tones.middle_lab(np.zeros((10, 10, 3), np.float32), mask) is not None) is known


def test_a_face_outside_the_frame_has_no_tones() -> None:
    rgb = scene()
    assert tones.face_tones(rgb, tones.to_lab(rgb), head(-400, 100, 40)) is None


@pytest.mark.parametrize(
    ("value", "high", "low"),
    [((255, 200, 200), 1, 0), ((254, 0, 0), 1, 0), ((253, 253, 253), 0, 0), ((2, 2, 2), 0, 1), ((0, 0, 3), 0, 0)],
)
def test_clipped_skin_is_a_share(value: tuple[int, int, int], high: float, low: float) -> None:
    rgb = scene(value)
    seen = tones.face_tones(rgb, tones.to_lab(rgb), FACE)
    assert seen is not None
    assert (seen.clipped_high, seen.clipped_low) == (high, low)


@pytest.mark.parametrize("roll", [0.0, 25.0])
@pytest.mark.parametrize(("along", "across"), [(1, 0), (-1, 0), (0, 1), (0, -1)])
def test_light_from_one_side_is_told_in_stops(along: int, across: int, roll: float) -> None:
    """Half of the face at luminance 0.4, half at 0.1: two stops (log2 of 4), along or across the eye line."""
    face = head(120, 100, 40, roll=roll)
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    cx, cy = (face.eye_middle[0] + face.mouth[0]) / 2, (face.eye_middle[1] + face.mouth[1]) / 2
    turn = math.radians(roll)
    u = math.cos(turn) * (x - cx) + math.sin(turn) * (y - cy)
    v = -math.sin(turn) * (x - cx) + math.cos(turn) * (y - cy)
    bright = (u * along - v * across) > 0  # across: the upper half counts as positive
    lab = np.zeros(SHAPE, np.float32)
    lab[..., 0] = np.where(bright, 116 * 0.4 ** (1 / 3) - 16, 116 * 0.1 ** (1 / 3) - 16)
    mask = tones.face_mask(SHAPE, face)
    found = tones._light(lab[mask][:, 0], mask, face)
    assert found[0 if along else 1] == pytest.approx(2 * (along or across), abs=0.01)


def test_hardly_any_face_has_no_light() -> None:
    mask = np.zeros(SHAPE[:2], bool)
    mask[100, 110:118] = True
    assert tones._light(np.full(8, 50.0), mask, FACE) == (0.0, 0.0)


def test_clothes_the_colour_of_skin_are_taken_all_the_same() -> None:
    rgb = scene()
    rgb[int(FACE.chin[1]) + 12 :] = SKIN
    found = tones.wardrobe_lab(tones.to_lab(rgb), FACE, tuple(lab_of(SKIN)), tuple(lab_of(WALL)))  # type: ignore[arg-type]
    assert found == pytest.approx(lab_of(SKIN), abs=0.5)


def test_a_frame_that_ends_at_the_chin_shows_no_clothes() -> None:
    lab = tones.to_lab(scene())[: int(FACE.chin[1]) + 20]
    assert tones.wardrobe_lab(lab, FACE, None, None) is None


@pytest.mark.parametrize(
    ("name", "monochrome"),
    [("grey", True), ("sepia", True), ("duotone", True), ("colour", False), ("pale colour", False)],
)
def test_black_and_white_is_what_follows_lightness_alone(name: str, monochrome: bool) -> None:
    level = np.linspace(5, 95, 4096).reshape(64, 64)
    lab = np.zeros((64, 64, 3), np.float32)
    lab[..., 0] = level
    noise = np.random.default_rng(3).normal(0, 1, (64, 64, 2))
    if name == "grey":
        lab[..., 1:] = noise * 0.3
    elif name == "sepia":
        lab[..., 1], lab[..., 2] = 6, 18
    elif name == "duotone":
        lab[..., 1], lab[..., 2] = level * 0.1, 25 - level * 0.5
    else:
        lab[..., 1:] = noise * (15 if name == "colour" else 4)
    assert tones.is_monochrome(lab) is monochrome


@pytest.mark.parametrize(
    ("left", "right", "glasses"), [(30, 30, True), (30, 150, False), (150, 30, False), (150, 150, False)]
)
def test_both_eyes_have_to_be_dark(left: int, right: int, glasses: bool) -> None:
    rgb = scene()
    rgb[92:118, 80:120] = left
    rgb[92:118, 120:160] = right
    assert tones.dark_glasses(tones.to_lab(rgb), FACE) is glasses


def test_eyes_at_the_edge_are_not_called_dark() -> None:
    rgb = scene()
    rgb[92:118, 80:160] = 10
    assert not tones.dark_glasses(tones.to_lab(rgb)[:, :139], FACE)


# Squares for the networks


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle", [0.0, 0.5, -2.0])
def test_a_patch_and_its_matrix_belong_together(angle: float, mirrored: bool) -> None:
    """A smooth picture: the patch at p shows the frame at to_frame(p)."""
    rgb = painted(200, 160)
    patch, back = models.turned_square(rgb, (95.0, 75.0), 60.0, angle, 48, mirrored)
    points = np.array(list(itertools.product((8.5, 24.5, 39.5), repeat=2)))
    for (px, py), (x, y) in zip(points, models.to_frame(points, back), strict=True):
        here, there = patch[int(py), int(px)].astype(int), rgb[round(y), round(x)].astype(int)
        assert np.abs(here - there).max() <= 12
    middle = models.to_frame(np.array([[24.0, 24.0]]), back)[0]
    assert middle == pytest.approx((95, 75))
    along = models.to_frame(np.array([[25.0, 24.0]]), back)[0] - middle
    step = -60 / 48 if mirrored else 60 / 48
    assert along == pytest.approx((step * math.cos(angle), step * math.sin(angle)))


def test_a_large_square_is_shrunk_before_it_is_cut() -> None:
    """Stripes of one pixel, five times smaller: their mean and no false stripes."""
    rgb = np.repeat((np.indices((600, 600))[1] % 2 * 200).astype(np.uint8)[:, :, None], 3, axis=2)
    patch, _back = models.turned_square(rgb, (300.0, 300.0), 400.0, 0.3, 64)
    assert patch.astype(int).mean() == pytest.approx(100, abs=4)
    assert patch.std() < 20


@pytest.mark.parametrize("size", [(100, 80), (33, 26), (25, 20), (7, 5)])
def test_shrinking_keeps_the_mean_of_what_is_there(size: tuple[int, int]) -> None:
    rgb = painted(100, 80)
    small = models.shrunk(rgb, *size)
    assert small.shape == (size[1], size[0], 3)
    assert small.reshape(-1, 3).mean(axis=0) == pytest.approx(rgb.reshape(-1, 3).mean(axis=0), abs=3)
    assert models.shrunk(rgb, 100, 80) is rgb


def test_a_detection_in_a_patch_is_one_in_the_frame() -> None:
    _patch, back = models.turned_square(np.zeros((200, 200, 3), np.uint8), (100.0, 90.0), 80.0, 0.4, 40)
    found = models.mapped(Detection((14.5, 14.5, 10.0, 10.0), (15.5, 19.5), (23.5, 19.5), 0.7), back)
    assert found.box == pytest.approx((90, 80, 20, 20))  # twice as large, round the same middle, upright
    assert found.score == 0.7
    eyes = np.array(found.image_right_eye) - np.array(found.image_left_eye)
    assert math.atan2(eyes[1], eyes[0]) == pytest.approx(0.4)
    assert np.hypot(*eyes) == pytest.approx(16)


def box(x: float, y: float, w: float, h: float) -> np.ndarray:
    """Middle, size and the detector's six points, here all in the middle."""
    return np.array([(x, y), (w, h), *[(x, y)] * 6])


@pytest.mark.parametrize(
    ("other", "iou"),
    [
        (box(0, 0, 2, 2), 1.0),
        (box(1, 0, 2, 2), 1 / 3),
        (box(1, 1, 2, 2), 1 / 7),
        (box(2, 0, 2, 2), 0.0),
        (box(5, 5, 2, 2), 0.0),
        (box(0, 0, 1, 1), 0.25),
        (box(0, 0, 4, 1), 2 / 6),
    ],
)
def test_the_common_area_over_that_of_both(other: np.ndarray, iou: float) -> None:
    one = box(0, 0, 2, 2)
    assert models._iou(one, np.stack([other, one])) == pytest.approx([iou, 1])
    assert models._iou(other, one[None]) == pytest.approx([iou])
    assert models._iou(box(0, 0, 0, 0), box(0, 0, 0, 0)[None]).tolist() == [0.0]


def test_boxes_that_overlap_are_averaged_into_the_best_by_score() -> None:
    points = np.stack([box(0, 0, 10, 10), box(2, 0, 10, 10), box(50, 50, 10, 10), box(8, 0, 10, 10)])
    merged = models._suppress(points, np.array([0.9, 0.6, 0.8, 0.7]))
    assert [score for _, score in merged] == [0.9, 0.8, 0.7]
    assert merged[0][0][0] == pytest.approx((2 * 0.6 / 1.5, 0))
    assert merged[1][0][0] == pytest.approx((50, 50))
    assert merged[2][0][0] == pytest.approx((8, 0))


def test_anchors_are_the_middles_of_a_grid_row_by_row() -> None:
    anchors = models._anchors()
    assert anchors.shape == (48 * 48, 2)
    assert anchors[0] == pytest.approx((0.5 / 48, 0.5 / 48))
    assert anchors[1] == pytest.approx((1.5 / 48, 0.5 / 48))
    assert anchors[-1] == pytest.approx((47.5 / 48, 47.5 / 48))


# Lids that cannot be read


@pytest.mark.parametrize(
    ("yaw", "shaded", "unknown"),
    [
        (0.0, False, {}),
        (reading._PROFILE_YAW, False, {}),
        (reading._PROFILE_YAW + 0.01, False, {"left_openness": Code.UNKNOWN_TURNED}),
        (-reading._PROFILE_YAW, False, {}),
        (-reading._PROFILE_YAW - 0.01, False, {"right_openness": Code.UNKNOWN_TURNED}),
        (0.0, True, {"right_openness": Code.UNKNOWN_SHADED, "left_openness": Code.UNKNOWN_SHADED}),
        (0.9, True, {"right_openness": Code.UNKNOWN_SHADED, "left_openness": Code.UNKNOWN_SHADED}),
    ],
)
def test_an_eye_turned_away_or_behind_glasses_has_no_openness(
    yaw: float, shaded: bool, unknown: dict[str, Code]
) -> None:
    told_of: dict[str, Told] = {}
    found = reading._readable_lids(head(100, 100, 40, yaw=yaw), shaded, told_of)
    assert told_of == {name: told(code) for name, code in unknown.items()}
    for name in ("right_openness", "left_openness"):
        assert (getattr(found, name) is None) == (name in unknown)


@pytest.mark.parametrize(("size", "side", "expected"), [((80, 100), 100, (80, 100)), ((80, 100), 60, (48, 60)),
                                                        ((80, 100), 50, (40, 50)), ((81, 101), 40, (40, 50)),
                                                        ((2, 100), 20, (1, 20))])  # fmt: skip
def test_a_look_is_a_whole_reduction_where_that_is_possible(
    size: tuple[int, int], side: int, expected: tuple[int, int]
) -> None:
    assert reading._shrunk(np.zeros((*size, 3), np.uint8), side).shape[:2] == expected


def test_a_lid_is_as_wide_as_its_corners_are_apart() -> None:
    lid = tuple((float(x), x / 2) for x in range(16))
    assert reading._lid_width(Eye((0, 0), 5, lid, 0.3)) == pytest.approx(math.hypot(8, 4))
    assert reading._lid_width(Eye((0, 0), 5, lid[:8], 0.3)) == 0.0
