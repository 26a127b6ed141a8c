"""Painted frames against their own truth and against a face detector that was trained on real faces."""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from galleries.imaging.face.faces import Face, find_faces
from galleries.painter import PlannedFrame, Truth, paint_frame, plan_sitting, truth_of
from tests.pictures import kept_pixels

SIDE = 720
# Several people, light and dark, with long, short and tied hair; every look, framing, blinks and soft frames.
CHOSEN = [(seed, index) for seed, first in ((1, 0), (4, 3), (7, 1), (10, 2), (9, 4)) for index in range(first, 46, 12)]


@lru_cache(maxsize=64)
def painted(seed: int, index: int, side: int = SIDE) -> tuple[NDArray[np.uint8], Truth, Face | None]:
    plan = plan_sitting(seed)
    picture = kept_pixels(f"{seed}-{index}-{side}", lambda: paint_frame(plan, plan.frames[index], side))
    return picture, truth_of(plan, plan.frames[index], side), find_faces(picture).face


def eye_distance(truth: Truth) -> float:
    right, left = truth.eyes
    return math.hypot(left.x - right.x, left.y - right.y)


@pytest.mark.parametrize(("seed", "index"), CHOSEN)
def test_the_detector_finds_the_eyes_where_the_truth_has_them(seed: int, index: int) -> None:
    picture, truth, face = painted(seed, index)
    assert picture.shape == (truth.height, truth.width, 3)
    assert picture.dtype == np.uint8
    assert face is not None
    allowed = 0.14 if truth.blink else 0.08 if not truth.sharp else 0.05
    for found, eye in zip((face.right_eye, face.left_eye), truth.eyes, strict=True):
        assert math.hypot(found[0] - eye.x, found[1] - eye.y) < allowed * eye_distance(truth)
    chin_allowed = 0.25 if truth.lighting == "hard" else 0.2  # the mesh loses it in shadow
    assert abs(face.menton[1] - truth.chin[1]) < chin_allowed * eye_distance(truth)
    assert truth.crown[1] < truth.eyes[0].y < truth.chin[1]


def test_eyes_are_within_two_percent_on_the_mean() -> None:
    errors = []
    for seed, index in CHOSEN:
        _, truth, face = painted(seed, index)
        if truth.blink or not truth.sharp:
            continue
        assert face is not None
        for found, eye in zip((face.right_eye, face.left_eye), truth.eyes, strict=True):
            errors.append(math.hypot(found[0] - eye.x, found[1] - eye.y) / eye_distance(truth))
    assert len(errors) > 16
    assert np.mean(errors) < 0.02


@pytest.mark.parametrize("seed", [1, 7])
def test_blinks_measure_lower_than_open_eyes(seed: int) -> None:
    frames = plan_sitting(seed).frames
    blinks = [frame.index for frame in frames if frame.lids < 0.3][:3]
    wide_awake = [frame.index for frame in frames if frame.lids > 0.8 and not frame.soft][:3]

    def openness(index: int) -> float:
        face = painted(seed, index)[2]
        assert face is not None
        assert face.right_openness is not None
        assert face.left_openness is not None
        return (face.right_openness + face.left_openness) / 2

    assert max(map(openness, blinks)) < min(map(openness, wide_awake)) - 0.04


def test_a_frame_is_the_same_twice_and_another_seed_is_another_picture() -> None:
    plan, other = plan_sitting(4), plan_sitting(5)
    first, again = (paint_frame(plan, plan.frames[3], 420) for _ in range(2))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, paint_frame(other, other.frames[3], 420))


def test_soft_frames_are_softer_than_sharp_ones() -> None:
    plan = plan_sitting(4)

    def detail(frame: PlannedFrame) -> float:
        truth = truth_of(plan, frame, 1500)
        grey = cv2.cvtColor(paint_frame(plan, frame, 1500), cv2.COLOR_RGB2GRAY)
        reach = int(0.7 * eye_distance(truth))
        x, y = int((truth.eyes[0].x + truth.eyes[1].x) / 2), int(truth.eyes[0].y)
        return float(cv2.Laplacian(grey[y - reach // 2 : y + reach // 2, x - reach : x + reach], cv2.CV_64F).var())

    soft = next(frame for frame in plan.frames if frame.soft and frame.framing == "head")
    sharp = next(frame for frame in plan.frames if frame.look == soft.look and not frame.soft and frame.lids > 0.5
                 and frame.framing == "head" and not frame.wide)  # fmt: skip
    assert detail(soft) < 0.5 * detail(sharp)


@pytest.mark.parametrize("index", [0, 22, 39])
def test_visible_catch_lights_are_bright_spots_in_the_iris(index: int) -> None:
    plan = plan_sitting(1)
    frame = plan.frames[index]
    picture, truth = paint_frame(plan, frame, 2000), truth_of(plan, frame, 2000)
    seen = [(eye, light) for eye in truth.eyes for light in eye.catch_lights if light.visible]
    keys = [light for _, light in seen if light.light == "key"]
    if truth.blink:
        assert not seen
        return
    assert len(keys) == 2
    for eye, light in seen:
        assert math.hypot(light.x - eye.x, light.y - eye.y) < eye.iris_radius
        spot = picture[round(light.y), round(light.x)].mean()
        reach = round(eye.iris_radius * 0.8)
        around = picture[round(eye.y) - reach : round(eye.y) + reach, round(eye.x) - reach : round(eye.x) + reach]
        assert spot > np.median(around) + 25
    # the reflection stands on the side of the iris that the key stands on
    assert all((light.x - eye.x) * truth.light[0] > 0 for eye, light in seen if light.light == "key")


def test_the_mono_look_has_no_colour_and_the_others_have() -> None:
    plan = plan_sitting(1)
    for look in plan.looks:
        frame = next(frame for frame in plan.frames if frame.look == look.slug)
        spread = np.ptp(paint_frame(plan, frame, 420).astype(int), axis=2)
        assert (spread.max() == 0) == (look.treatment == "black and white")


def test_a_picture_too_small_is_refused() -> None:
    plan = plan_sitting(1)
    with pytest.raises(ValueError, match="at least 300 pixels, not 120"):
        paint_frame(plan, plan.frames[0], 120)
