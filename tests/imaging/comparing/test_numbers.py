"""Comparing in numbers: when two are the same, which is chosen, what is busy, where an outline is crossed."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from galleries.imaging.comparing import match, patches, shape_change
from galleries.imaging.comparing.amounts import Changes
from galleries.imaging.comparing.match import Overlay, Small
from galleries.imaging.comparing.shape_change import ShapeChange
from galleries.imaging.output import resize
from tests.imaging.heads import head

STILL = np.array([[1.0, 0, 0], [0, 1.0, 0]])


# When two are the same


@pytest.mark.parametrize(
    ("likeness", "area", "same", "other"),
    [
        (0.80, 0.12, True, False),
        (0.79, 1.0, False, False),
        (1.0, 0.119, False, False),
        (0.20, 1.0, False, False),
        (0.19, 1.0, False, True),
        (-1.0, 1.0, False, True),
    ],
)
def test_the_same_exposure_is_alike_and_shows_enough(likeness: float, area: float, same: bool, other: bool) -> None:
    overlay = Overlay(STILL, likeness, area, 30)
    assert (overlay.same, overlay.other) == (same, other)


@pytest.mark.parametrize(
    ("likenesses", "chosen"),
    [
        ([], None),
        ([None, None], None),
        ([0.80], 0),
        ([0.799], None),
        ([None, None, 0.9], 2),
        ([0.5, 0.85], 1),
        # what the best lacks is at most two thirds of what the next one lacks
        ([0.90, 0.85], 0),
        ([0.90, 0.851], None),
        ([0.85, 0.90], 1),
        ([0.9, 0.9], None),
        ([1.0, 1.0], 1),
    ],
)
def test_the_best_is_chosen_where_it_is_clearly_the_best(likenesses: list[float | None], chosen: int | None) -> None:
    assert match.choose(likenesses) == chosen


# Structure


def noise(seed: int = 1, size: tuple[int, int] = (200, 240)) -> np.ndarray:
    rough = np.random.default_rng(seed).integers(0, 256, size, np.uint8)
    return np.asarray(cv2.GaussianBlur(rough, (0, 0), 2) * 3.0 - 256, np.float32).clip(0, 255).astype(np.uint8)


def half_busy(left: bool) -> np.ndarray:
    grey = np.full((200, 240), 128, np.uint8)
    part = slice(0, 90) if left else slice(150, 240)
    grey[:, part] = noise()[:, part]
    return grey


def test_structure_of_either_picture_counts_and_a_plain_backdrop_does_not() -> None:
    busy = match._busy(half_busy(True), half_busy(False))
    assert busy[:, 10:70].mean() > 0.7
    assert busy[:, 170:230].mean() > 0.7
    assert busy[:, 115:125].mean() == 0
    assert not match._busy(np.full((50, 50), 90, np.uint8), np.full((50, 50), 90, np.uint8)).any()


def test_fine_structure_does_not_depend_on_contrast_or_brightness() -> None:
    grey = noise().astype(np.float32)
    plain, strong, light = match._fine(grey), match._fine(grey * 0.5), match._fine(grey + 40)
    assert np.abs(plain - light).max() < 1e-3
    assert np.corrcoef(plain.ravel(), strong.ravel())[0, 1] > 0.99
    assert strong.std() == pytest.approx(plain.std(), rel=0.2)


def small(grey: np.ndarray) -> Small:
    return Small(grey, 1.0)


def test_a_picture_is_wholly_like_itself_and_its_negative_is_its_opposite() -> None:
    itself = match._judge(small(noise()), small(noise()), STILL, 5)
    negative = match._judge(small(noise()), small(255 - noise()), STILL, 5)
    stranger = match._judge(small(noise()), small(noise(2)), STILL, 5)
    assert itself is not None
    assert negative is not None
    assert stranger is not None
    assert itself.likeness == pytest.approx(1.0, abs=1e-4)
    assert negative.likeness == pytest.approx(-1.0, abs=0.01)
    assert abs(stranger.likeness) < 0.1
    assert itself.inliers == 5


@pytest.mark.parametrize("shift", [0, 60, 120])
def test_area_is_the_share_that_is_covered_without_its_rim(shift: int) -> None:
    """15 × 15 erosion takes seven pixels off each inner edge of what is covered; the frame's own edge is none."""
    found = match._judge(small(noise()), small(noise()), np.array([[1.0, 0, shift], [0, 1.0, 0]]), 0)
    assert found is not None
    assert found.area == pytest.approx((240 - shift - (7 if shift else 0)) / 240)


def test_what_hardly_overlaps_is_not_judged_and_what_is_plain_is_not_alike() -> None:
    assert match._judge(small(noise()), small(noise()), np.array([[1.0, 0, 230], [0, 1.0, 0]]), 0) is None
    flat = np.full((200, 240), 128, np.uint8)
    plain = match._judge(small(flat), small(flat), STILL, 3)
    assert plain is not None
    assert (plain.likeness, plain.inliers) == (0.0, 3)


def test_too_few_features_find_nothing() -> None:
    assert match._by_features(np.full((200, 240), 128, np.uint8), noise()) is None


# Changes of shape


def test_only_what_is_over_its_threshold_is_told_the_furthest_first() -> None:
    at = {"eyes": 2.5, "mouth": -4.0, "nose": 4.0, "jaw": -2.5, "chin": 2.0, "skin": 5.0, "right_eye_iris": 7.0}
    assert Changes(at).beyond() == {}
    assert Changes(at).caution() is None
    over = {"eyes": 3.0, "jaw": -9.0, "nose": 4.01, "lightness": 80.0, "chin_texture": 50.0}
    assert list(Changes(over).beyond()) == ["jaw", "eyes", "nose"]
    assert Changes(over).beyond({"width": 10.0, "eyes": 1.0, "nose": 100.0}) == {"eyes": 3.0}
    told = Changes(over).caution()
    assert told is not None
    assert list(told.data.items()) == [("jaw_percent", -9), ("eyes_percent", 3), ("nose_percent", 4)]


def test_a_narrower_face_is_told_once_and_each_kind_by_its_largest_amount() -> None:
    amounts = {"face": -8.1, "cheeks": -8.0, "jaw": -3.0, "chin_texture": 60.0, "forehead_texture": 90.2}
    amounts |= {"skin": 8.4, "lightness": 9.6, "left_eye_iris": 14.0, "right_eye_iris": 12.0}
    told = Changes(amounts).caution()
    assert told is not None
    assert dict(told.data) == {
        "face_percent": -8, "irises_delta_e": 14, "texture_percent": 90, "skin_delta_e": 8, "skin_lightness": 10,
    }  # fmt: skip
    assert len(told.as_text(600)) < 400


def test_amounts_come_back_from_plain_json_and_places_are_those_of_what_is_told() -> None:
    places = {"eyes": (0.1, 0.2, 0.3, 0.1), "chin": (0.3, 0.6, 0.2, 0.1), "face": (0.1, 0.1, 0.5, 0.6)}
    there = {name: (x, y + 0.1, w, h) for name, (x, y, w, h) in places.items()}
    kept = Changes({"eyes": 6.0, "chin": 1.0}, places, there, ("texture",))
    assert Changes.from_dict(json.loads(json.dumps(kept.as_dict()))) == kept
    assert kept.marked() == [places["eyes"]]
    assert kept.marked({"eyes": 10.0, "chin": 0.5}, on_version=True) == [there["chin"]]
    assert Changes.from_dict({"amounts": [1], "places": {"eyes": "far"}, "unread": 4}) == Changes()


@pytest.mark.parametrize(
    ("size", "side", "factor"), [((100, 400), 200, 0.5), ((400, 100), 200, 0.5), ((90, 90), 200, 1.0)]
)
def test_a_factor_is_that_of_the_size_fitted(size: tuple[int, int], side: int, factor: float) -> None:
    grey = np.zeros(size, np.uint8)
    assert patches._factor(grey, side) == factor
    assert patches._fit(grey, side).shape[::-1] == resize.fit_within(size[1], size[0], side)


SQUARE = np.array([(10.0, 10.0), (30.0, 10.0), (30.0, 50.0), (10.0, 50.0)])
DIAMOND = np.array([(20.0, 0.0), (40.0, 20.0), (20.0, 40.0), (0.0, 20.0)])


@pytest.mark.parametrize(
    ("outline", "y", "sides"),
    [
        (SQUARE, 20, (10, 30)),
        (SQUARE, 10, (10, 30)),
        (SQUARE, 9, (10, 30)),  # above it all: its width
        (DIAMOND, 20, (0, 40)),
        (DIAMOND, 10, (10, 30)),
        (DIAMOND, 35, (15, 25)),
        (DIAMOND, 50, (0, 40)),
        (np.roll(DIAMOND, 1, axis=0), 10, (10, 30)),
    ],
)
def test_an_outline_is_crossed_left_and_right(outline: np.ndarray, y: float, sides: tuple[float, float]) -> None:
    assert shape_change._sides(outline, y) == pytest.approx(sides)


def stretched(factor: float, middle: tuple[float, float] = (60.0, 50.0)) -> np.ndarray:
    """The flow of a picture stretched about a point."""
    y, x = np.mgrid[0:100, 0:120].astype(np.float64)
    return np.stack([(x - middle[0]) * factor, (y - middle[1]) * factor], axis=2)


@pytest.mark.parametrize("factor", [-0.1, 0.0, 0.05])
def test_a_region_that_grows_is_measured_by_how_much(factor: float) -> None:
    ring = shape_change._ring((60, 50), 30, 20)
    assert shape_change._stretch(stretched(factor), ring) == pytest.approx(factor, abs=0.003)
    assert shape_change._stretch(stretched(factor) + 7, ring) == pytest.approx(factor, abs=0.003)


def test_a_ring_goes_once_round() -> None:
    ring = shape_change._ring((60, 50), 30, 20)
    assert ring.shape == (24, 2)
    assert ring.mean(axis=0) == pytest.approx((60, 50))
    assert np.hypot((ring[:, 0] - 60) / 30, (ring[:, 1] - 50) / 20) == pytest.approx(np.ones(24))


@pytest.mark.parametrize("point", [(5, 50), (-20, 50), (115, 99), (400, 400)])
def test_the_flow_at_a_point_is_the_middling_one_about_it_also_at_the_edge(point: tuple[float, float]) -> None:
    flow = np.zeros((100, 120, 2))
    flow[..., 0], flow[..., 1] = 3, -2
    x, y = min(max(point[0], 0), 119), min(max(point[1], 0), 99)
    flow[int(y), int(x)] = 900  # one wild pixel changes nothing
    assert shape_change._at(flow, point) == pytest.approx((3, -2))


def test_an_edges_flow_is_sideways_and_middling() -> None:
    flow = np.zeros((100, 120, 2))
    flow[..., 1] = 50
    flow[:, 60:, 0] = 4
    assert shape_change._edge(flow, 80, 50) == 4
    assert shape_change._edge(flow, 30, 50) == 0
    flow[40:46, 60:, 0] = 90  # a strand of hair
    assert shape_change._edge(flow, 80, 50) == 4


MEASURED = ("eyes", "mouth", "cheeks", "jaw", "chin")
FACE = replace(head(160, 150, 80), right_lid=(), left_lid=())


def test_a_face_stretched_as_a_whole_is_stretched_in_every_part() -> None:
    y, x = np.mgrid[0:400, 0:320].astype(np.float64)
    flow = np.stack([(x - 160) * 0.06, (y - 150) * 0.06], axis=2)
    found = shape_change._measure(flow, FACE)
    for name in MEASURED:
        assert getattr(found, name) == pytest.approx(0.06, abs=0.006), name
    still = shape_change._measure(np.zeros((400, 320, 2)), FACE)
    assert still == ShapeChange(0, 0, None, 0, 0, 0, 0)
    moved = shape_change._measure(np.full((400, 320, 2), 5.0), FACE)
    assert all(abs(getattr(moved, name)) < 1e-9 for name in MEASURED)


def test_a_face_made_wider_only_is_wider_and_not_longer() -> None:
    x = np.mgrid[0:400, 0:320].astype(np.float64)[1]
    found = shape_change._measure(np.stack([(x - 160) * 0.06, np.zeros_like(x)], axis=2), FACE)
    assert found.cheeks == pytest.approx(0.06, abs=0.006)
    assert found.jaw == pytest.approx(0.06, abs=0.006)
    assert found.chin == 0


@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_a_patch_shrunk_far_is_smoothed_first(turn: float) -> None:
    """Stripes of two pixels, shrunk to a quarter, come out grey instead of as false stripes."""
    grey = (np.indices((400, 400))[1] // 2 % 2 * 255).astype(np.uint8)
    c, s = 0.25 * math.cos(turn), 0.25 * math.sin(turn)
    small_patch = patches.cut(grey, np.array([[c, -s, 50], [s, c, 20], [0, 0, 1]]), (100, 100))
    assert small_patch[40:70, 50:70].std() < 25
    plain = patches.cut(grey, np.eye(3), (100, 100))
    assert np.array_equal(plain, grey[:100, :100])


def test_a_face_is_mapped_with_its_pixels_middles() -> None:
    """The matrix maps pixel middles as they are: a point p goes to scale × p + shift."""
    matrix = np.array([[2.0, 0, -30], [0, 2.0, -40], [0, 0, 1]])
    found = patches.mapped(FACE, matrix)
    assert found.chin == pytest.approx((FACE.chin[0] * 2 - 30, FACE.chin[1] * 2 - 40))
    assert found.right_eye == pytest.approx((FACE.right_eye[0] * 2 - 30, FACE.right_eye[1] * 2 - 40))


def test_what_moves_the_surround_is_taken_off() -> None:
    here = noise(3, (300, 300))
    flow = np.zeros((300, 300, 2))
    flow[..., 0] = 2.5
    flow[130:170, 130:170, 1] = 3.0  # inside the face something else moves
    face = head(150, 140, 50)
    rest = shape_change._without_drift(flow, here, face, np.ones((300, 300), bool))
    assert np.abs(rest[20:60, 20:280]).max() < 0.05
    assert rest[150, 150] == pytest.approx((0, 3), abs=0.05)
    flat = np.full((300, 300), 90, np.uint8)
    assert shape_change._without_drift(flow, flat, face, np.ones((300, 300), bool)) is flow
