from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from galleries.imaging.codes import Code
from galleries.imaging.face import eyes
from galleries.imaging.face.eyes import (
    CatchLight,
    Eye,
    agreed_pupils,
    catch_lights,
    clock_hour,
    edge_sharpness,
    eye_sharpness,
    frame_detail,
    pupil_ratio,
)
from galleries.told import Told, told
from tests.telling import sentence_of

Pixels = NDArray[np.uint8]
RADIUS = 30.0


def painted_eye(
    lights: tuple[tuple[int, float, float], ...] = (),
    *,
    pupil: float = 0.4,
    iris: int = 95,
    opening: float = 0.36,
    radius: float = RADIUS,
) -> tuple[Pixels, Eye]:
    """An eye painted at four times the size and shrunk. A light is (hour, distance, radius), in iris radii."""
    big, side = 4, int(12 * radius)
    canvas = np.full((side * big, side * big, 3), (200, 160, 140), np.uint8)
    middle = side * big // 2
    width, height = 2.5 * radius * big, 2.5 * radius * big * opening
    white = canvas.copy()
    cv2.circle(white, (middle, middle), int(6 * radius * big), (225, 220, 215), -1)
    cv2.circle(white, (middle, middle), int(radius * big), (iris, iris - 20, iris - 35), -1)
    cv2.circle(white, (middle, middle), int(radius * pupil * big), (14, 12, 12), -1)
    for hour, away, size in lights:
        angle = math.radians(30 * hour)
        spot = (
            int(middle + math.sin(angle) * away * radius * big),
            int(middle - math.cos(angle) * away * radius * big),
        )
        cv2.circle(white, spot, int(size * radius * big), (252, 252, 252), -1)
    mask = np.zeros(canvas.shape[:2], np.uint8)
    cv2.ellipse(mask, (middle, middle), (int(width), int(height)), 0, 0, 360, 1, -1)
    canvas[mask == 1] = white[mask == 1]
    cv2.ellipse(canvas, (middle, middle), (int(width), int(height)), 0, 0, 360, (60, 40, 35), 4 * big)
    small = cv2.resize(canvas, (side, side), interpolation=cv2.INTER_AREA)
    centre = ((middle + 0.5) / big - 0.5,) * 2
    angles = [i * math.pi / 8 for i in range(16)]
    lid = tuple(
        (centre[0] + 2.5 * radius * math.cos(a), centre[1] + 2.5 * radius * opening * math.sin(a)) for a in angles
    )
    return np.ascontiguousarray(small), Eye(centre, radius, lid, opening)


@pytest.mark.parametrize("hours", [(), (12,), (10,), (2,), (10, 2), (11, 1, 6)])
def test_catch_lights_are_counted_and_placed(hours: tuple[int, ...]) -> None:
    picture, eye = painted_eye(tuple((hour, 0.5, 0.14) for hour in hours))
    found = catch_lights(picture, eye)
    assert not isinstance(found, str)
    assert sorted(light.clock for light in found) == sorted(hours)
    for light in found:
        assert light.distance == pytest.approx(0.5, abs=0.08)
        assert light.area == pytest.approx(0.14**2, rel=0.35)


def test_what_is_no_catch_light() -> None:
    picture, eye = painted_eye(((12, 0.95, 0.12),))  # on the rim: sclera or lid, no reflection of a lamp
    assert catch_lights(picture, eye) == ()
    picture, eye = painted_eye(((12, 0.0, 0.6),))  # far too large: glare
    assert catch_lights(picture, eye) == ()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"radius": 8.0}, "radius of 8 px"),
        ({"openness": 0.1}, "closed"),
        ({"centre": (2.0, 2.0)}, "edge"),
    ],
)
def test_unknown_catch_lights_say_why(change: dict[str, object], why: str) -> None:
    picture, eye = painted_eye(((12, 0.5, 0.14),))
    found = catch_lights(picture, Eye(**{**eye.__dict__, **change}))
    assert isinstance(found, Told)
    assert why in sentence_of(found)


@pytest.mark.parametrize("ratio", [0.25, 0.35, 0.45, 0.55, 0.65])
@pytest.mark.parametrize("lights", [(), ((11, 0.45, 0.12),)])
def test_the_pupil_is_measured(ratio: float, lights: tuple[tuple[int, float, float], ...]) -> None:
    picture, eye = painted_eye(lights, pupil=ratio)
    assert pupil_ratio(picture, eye) == pytest.approx(ratio, abs=0.05)


def test_a_dark_iris_has_no_known_pupil() -> None:
    picture, eye = painted_eye(iris=38)
    assert pupil_ratio(picture, eye) == told(Code.UNKNOWN_DARK_PUPIL)
    picture, eye = painted_eye(radius=12)
    assert pupil_ratio(picture, eye) == told(Code.UNKNOWN_IRIS, radius_px=12, least_px=14)


def test_pupils_that_do_not_agree_are_not_believed() -> None:
    assert agreed_pupils(0.4, 0.45) == (0.4, 0.45)
    assert agreed_pupils(0.3, 0.5) == (told(Code.UNKNOWN_PUPILS_DIFFER),) * 2
    dark, closed = told(Code.UNKNOWN_DARK_PUPIL), told(Code.UNKNOWN_CLOSED)
    assert agreed_pupils(0.4, dark) == (dark, dark)
    assert agreed_pupils(0.4, closed) == (0.4, closed)


@pytest.mark.parametrize("blur", [1.0, 1.5, 2.0, 3.0, 4.0, 6.0])
def test_sharpness_is_the_width_of_the_edge(blur: float) -> None:
    """A step blurred by a Gaussian of s: half the rise over two pixels beside the edge, by the error function."""
    step = np.where(np.arange(120) < 60, 40.0, 200.0).astype(np.float32)[None].repeat(120, axis=0)
    soft = cv2.GaussianBlur(step, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
    measured = edge_sharpness(np.asarray(soft, np.float32))
    rise = math.erf(1.5 / blur / math.sqrt(2)) + math.erf(0.5 / blur / math.sqrt(2))
    assert measured == pytest.approx(rise / 4, rel=0.05)


@given(st.floats(0.3, 1.0), st.integers(0, 60))
@settings(max_examples=25, deadline=None)
def test_sharpness_does_not_depend_on_exposure(gain: float, lift: int) -> None:
    picture, eye = painted_eye(((12, 0.5, 0.14),))
    other = np.clip(picture * gain * 0.75 + lift, 0, 255).astype(np.uint8)
    assert eye_sharpness(other, eye) == pytest.approx(eye_sharpness(picture, eye), rel=0.1)


def test_a_soft_eye_in_a_sharp_frame_is_seen() -> None:
    picture, eye = painted_eye(((12, 0.5, 0.14),))
    rng = np.random.default_rng(3)
    frame = cv2.resize(rng.integers(30, 220, (60, 60, 3), dtype=np.uint8), (720, 720), interpolation=cv2.INTER_NEAREST)
    x, y = 180, 180
    side = picture.shape[0]
    ratios = []
    for blur in (0.0, 2.0, 4.0):
        patch = cv2.GaussianBlur(picture, (0, 0), blur) if blur else picture
        frame[y : y + side, x : x + side] = patch
        placed = Eye((eye.centre[0] + x, eye.centre[1] + y), eye.radius, (), eye.openness)
        sharp, detail = eye_sharpness(frame, placed), frame_detail(frame)
        assert sharp is not None
        assert detail is not None
        ratios.append(sharp / detail)
    assert ratios[0] > 0.7
    assert ratios[0] > 1.5 * ratios[1] > 2.5 * ratios[2]


@pytest.mark.parametrize("middle", [0, 1])
def test_a_bands_power_is_that_of_a_whole_transform(middle: int) -> None:
    """NumPy's two-dimensional transform of the tiles under a Hann window, its band's mean power."""
    tiles = np.random.default_rng(4).normal(120, 25, (5, 64, 64)).astype(np.float32)
    tiles -= tiles.mean(axis=(1, 2), keepdims=True)
    window = np.hanning(64)[:, None] * np.hanning(64)
    across, down = np.fft.rfftfreq(64)[None, :], np.fft.fftfreq(64)[:, None]
    band = np.abs(np.hypot(down, across) - (0.125, 0.275)[middle]) <= 0.025
    whole = (np.abs(np.fft.rfft2(tiles * window)) ** 2)[:, band].mean(axis=1)
    rows = (tiles @ eyes._OVER_ROWS.view(np.float32)).view(np.complex64)
    assert eyes._power(rows, (eyes._MIDDLING, eyes._FINE)[middle]) == pytest.approx(whole, rel=1e-4)


def test_flat_pictures_have_no_sharpness() -> None:
    flat = np.full((200, 200, 3), 90, np.uint8)
    assert frame_detail(flat) is None
    assert eye_sharpness(flat, Eye((100, 100), 12, (), 0.3)) is None


@pytest.mark.parametrize(
    ("right", "up", "hour"), [(0, 1, 12), (1, 0, 3), (0, -1, 6), (-1, 0, 9), (-1, 1.7, 11), (1, 1.7, 1)]
)
def test_clock_hours(right: float, up: float, hour: int) -> None:
    assert clock_hour(right, up) == hour


def test_a_catch_light_is_plain_data() -> None:
    assert CatchLight(**CatchLight(11, 0.4, 0.01).__dict__) == CatchLight(11, 0.4, 0.01)
