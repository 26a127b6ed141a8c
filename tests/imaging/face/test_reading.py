from __future__ import annotations

import json

import colour
import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from numpy.typing import NDArray

from galleries.imaging.codes import Code
from galleries.imaging.face import tones
from galleries.imaging.face.reading import READER_VERSION, FrameReading, read_pixels
from tests import outside
from tests.benchmarks.eyes import portraits
from tests.imaging.face.test_faces import astronaut, back_view  # noqa: F401
from tests.imaging.heads import head
from tests.telling import sentence_of

Pixels = NDArray[np.uint8]


@pytest.fixture(scope="module")
def people() -> list[tuple[Pixels, NDArray[np.float64]]]:
    return [(rgb, marks) for _name, rgb, marks in portraits(outside.shared("portraits"))][::5]


def test_a_reading_survives_json(astronaut: Pixels) -> None:  # noqa: F811
    reading = read_pixels(astronaut)
    text = json.dumps(reading.as_dict())
    back = FrameReading.from_dict({**json.loads(text), "of_a_later_version": 1})
    assert json.dumps(back.as_dict()) == text
    assert back.reader_version == READER_VERSION
    assert back.face is not None


def test_coordinates_are_those_of_the_full_frame(astronaut: Pixels) -> None:  # noqa: F811
    whole = cv2.resize(astronaut, (2048, 2048), interpolation=cv2.INTER_CUBIC)
    half = cv2.resize(whole, (1024, 1024), interpolation=cv2.INTER_AREA)
    one = read_pixels(np.asarray(half, np.uint8), 0.5)
    two = read_pixels(astronaut, 0.25, full_size=(2048, 2048), fine=np.asarray(whole, np.uint8))
    assert (one.width, one.height) == (two.width, two.height) == (2048, 2048)
    assert one.face is not None
    assert two.face is not None
    # pupils of the packaged picture near (204, 101) and (246, 103), see test_faces
    for face in (one.face, two.face):
        assert face.right_eye == pytest.approx((204.5 * 4, 101.5 * 4), abs=8)
        assert face.left_eye == pytest.approx((246.5 * 4, 103.5 * 4), abs=8)
    assert one.read_scale == 0.5
    assert two.read_scale == 1.0


def test_no_face_leaves_unknown_with_a_reason() -> None:
    reading = read_pixels(back_view())
    assert reading.face is None
    assert sentence_of(reading.face_reason).startswith("No face found")
    assert reading.openness is None
    for name in ("sharpness", "catch_lights_right", "pupil_ratio_left", "face_l", "wardrobe_lab"):
        assert getattr(reading, name) is None
        assert reading.unknown[name].code == Code.UNKNOWN_NO_FACE
    assert reading.backdrop_lab is not None
    assert reading.backdrop_lab == pytest.approx(tuple(tones.to_lab(np.full((1, 1, 3), 150, np.uint8))[0, 0]), abs=0.5)
    assert len(reading.hash) == 16


@given(hnp.arrays(np.uint8, st.tuples(st.integers(1, 40), st.integers(1, 40), st.just(3))))
@settings(max_examples=25, deadline=None)
def test_any_picture_can_be_read(rgb: Pixels) -> None:
    json.dumps(read_pixels(rgb).as_dict())


def test_what_every_studio_portrait_tells(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    for rgb, _marks in people:
        reading = read_pixels(rgb)
        assert reading.face is not None
        assert reading.openness is not None
        assert reading.openness > 0.24  # all of them look into the camera with open eyes
        assert reading.catch_lights_right
        assert reading.catch_lights_left
        assert reading.sharpness_ratio is not None
        assert reading.sharpness_ratio > 0.5
        assert reading.backdrop_lab is not None
        assert 70 < reading.backdrop_lab[0] < 90  # a light grey wall
        assert reading.wardrobe_lab is not None
        assert reading.wardrobe_lab[0] > reading.backdrop_lab[0] - 5  # white shirts
        assert not reading.monochrome


def test_both_pupils_known_or_none(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    for rgb, _marks in people:
        reading = read_pixels(rgb)
        assert (reading.pupil_ratio_right is None) == (reading.pupil_ratio_left is None)


def test_soft_eyes_are_told_from_sharp_ones(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    """Focus missed: the face is blurred, the shirt and the hair's rim stay."""
    for rgb, marks in people:
        soft = rgb.copy()
        span = float(np.ptp(marks[:, 0]))
        (x, y), reach = marks.mean(axis=0), 1.1 * span
        area = np.s_[int(y - reach) : int(y + reach), int(x - reach) : int(x + reach)]
        soft[area] = cv2.GaussianBlur(rgb[area], (0, 0), span / 50)
        sharp, missed = read_pixels(rgb).sharpness_ratio, read_pixels(soft).sharpness_ratio
        assert sharp is not None
        assert missed is not None
        assert missed < 0.65 * sharp
        assert (read_pixels(rgb).soft, read_pixels(soft).soft) == (False, True)


def test_light_from_one_side_and_its_mirror(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    for rgb, marks in people[:3]:
        x = np.arange(rgb.shape[1])
        light = 0.2 + 0.8 / (1 + np.exp(-(x - marks[:, 0].mean()) / (0.15 * np.ptp(marks[:, 0]))))
        lit = np.rint(255 * ((rgb / 255.0) ** 2.2 * light[None, :, None]) ** (1 / 2.2)).astype(np.uint8)
        one, two = read_pixels(lit), read_pixels(np.ascontiguousarray(lit[:, ::-1]))
        assert one.light_x is not None
        assert two.light_x is not None
        assert one.light_x > 0.7  # at least two thirds of a stop from the picture's right
        assert two.light_x == pytest.approx(-one.light_x, rel=0.2)
        assert one.light_clock in (1, 2, 3, 4)
        assert two.light_clock in (8, 9, 10, 11)


def test_dark_glasses_hide_the_eyes(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    for rgb, marks in people[:4]:
        span = float(np.ptp(marks[:, 0]))
        worn = rgb.copy()
        for x, y in marks:
            lens = (int(0.42 * span), int(0.34 * span))
            cv2.ellipse(worn, (int(x), int(y + 0.05 * span)), lens, 0, 0, 360, (12, 11, 10), -1)
        reading = read_pixels(worn)
        if reading.face is None:
            assert reading.unknown["sharpness"].code == Code.UNKNOWN_NO_FACE
            continue
        for name in ("right_openness", "left_openness", "catch_lights_right", "pupil_ratio_left", "sharpness"):
            assert getattr(reading, name) is None
            assert reading.unknown[name].code == Code.UNKNOWN_SHADED


def test_exposure_and_clipping(people: list[tuple[Pixels, NDArray[np.float64]]]) -> None:
    rgb, _marks = people[0]
    usual = read_pixels(rgb)
    over = read_pixels(np.clip(rgb * 1.7, 0, 255).astype(np.uint8))
    under = read_pixels((rgb * 0.25).astype(np.uint8))
    assert usual.face_l is not None
    assert over.face_l is not None
    assert under.face_l is not None
    assert under.face_l < usual.face_l < over.face_l
    assert usual.clipped_high is not None
    assert over.clipped_high is not None
    assert usual.clipped_high < 0.01 < 0.2 < over.clipped_high


TONINGS = {
    "neutral": (np.zeros(3), True),
    "sepia": (np.array([18.0, 4.0, -16.0]), True),
    "cyanotype": (np.array([-16.0, 2.0, 14.0]), True),
}


@pytest.mark.parametrize("name", TONINGS)
def test_black_and_white_is_noticed_also_toned(astronaut: Pixels, name: str) -> None:  # noqa: F811
    tint, _ = TONINGS[name]
    grey = cv2.cvtColor(astronaut, cv2.COLOR_RGB2GRAY).astype(float)[:, :, None]
    weight = 1 - np.abs(grey / 127.5 - 1) ** 2
    toned = np.clip(grey + tint * weight, 0, 255).astype(np.uint8)
    reading = read_pixels(np.ascontiguousarray(toned))
    assert reading.monochrome
    assert reading.skin_ab is None
    assert reading.unknown["skin_ab"].code == Code.UNKNOWN_MONOCHROME


def test_colour_is_no_black_and_white(astronaut: Pixels) -> None:  # noqa: F811
    assert not read_pixels(astronaut).monochrome
    muted = cv2.cvtColor(astronaut, cv2.COLOR_RGB2HSV)
    muted[:, :, 1] = muted[:, :, 1] // 3
    assert not read_pixels(np.asarray(cv2.cvtColor(muted, cv2.COLOR_HSV2RGB), np.uint8)).monochrome


@pytest.mark.parametrize(
    ("rgb", "lab"),
    [
        # ColorChecker 2005 in sRGB against Lab [lib, colour-science 0.4.7]: light skin and dark skin under D65
        ((198, 147, 129), (65.4, 17.5, 17.2)),
        ((115, 81, 68), (37.9, 12.3, 13.0)),
        ((255, 255, 255), (100.0, 0.0, 0.0)),
    ],
)
def test_lab_of_known_colours(rgb: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    ours = tones.to_lab(np.full((2, 2, 3), rgb, np.uint8))[0, 0]
    theirs = colour.XYZ_to_Lab(
        colour.sRGB_to_XYZ(np.array(rgb) / 255), colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    )
    assert ours == pytest.approx(theirs, abs=0.3)
    assert ours == pytest.approx(lab, abs=1.5)


def test_painted_backdrop_and_wardrobe_are_read_as_painted() -> None:
    """A face of numbers over flat colours: what is read is what was painted."""
    face = head(128, 100, 22)
    rgb = np.full((256, 256, 3), (60, 80, 120), np.uint8)
    cv2.ellipse(rgb, (128, 110), (24, 34), 0, 0, 360, (200, 150, 130), -1)
    cv2.ellipse(rgb, (128, 230), (80, 75), 0, 0, 360, (150, 30, 40), -1)
    lab = tones.to_lab(rgb)

    def of(colour: tuple[int, int, int]) -> tuple[float, ...]:
        return tuple(tones.to_lab(np.full((1, 1, 3), colour, np.uint8))[0, 0])

    backdrop = tones.middle_lab(lab, tones.backdrop_mask(rgb.shape, face))
    assert backdrop == pytest.approx(of((60, 80, 120)), abs=0.5)
    skin = tones.face_tones(rgb, lab, face)
    assert skin is not None
    assert skin.median_l == pytest.approx(of((200, 150, 130))[0], abs=0.5)
    assert (skin.light_x, skin.light_y) == (0.0, 0.0)
    worn = tones.wardrobe_lab(lab, face, (skin.median_l, *skin.skin_ab), backdrop)
    assert worn == pytest.approx(of((150, 30, 40)), abs=0.5)
    assert tones.wardrobe_lab(lab[:140], face, None, None) is None


def test_a_face_far_away_is_found_and_read_to_two_percent() -> None:
    """60 px between the eyes in 6000 × 4000: a portrait of known pupils shrunk into an empty frame.

    Portrait and marks: Face Research Lab London Set, DeBruine and Jones (CC BY 4.0).
    """
    _name, portrait, marks = next(portraits(outside.shared("portraits")))
    corner = np.array([1200, 900])
    factor = 60 / float(np.hypot(*(marks[1] - marks[0])))
    frames = []
    for scale in (1 / 3, 1 / 2):
        side = round(portrait.shape[1] * factor * scale)
        frame = np.full((round(4000 * scale), round(6000 * scale), 3), 205, np.uint8)
        x, y = np.rint(corner * scale).astype(int)
        frame[y : y + side, x : x + side] = cv2.resize(portrait, (side, side), interpolation=cv2.INTER_AREA)
        frames.append(frame)
    seen = read_pixels(frames[0], full_size=(6000, 4000), fine=frames[1], fine_scale=0.5).face
    assert seen is not None
    true = ((marks + 0.5) * (side / portrait.shape[1]) + (x, y)) / scale - 0.5
    off = np.hypot(*(np.array([seen.right_eye, seen.left_eye]) - true).T)
    assert off.max() < 0.02 * 60
