"""What carries at the size of a casting list: answers that can be counted by hand, and an outside SSIM."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.metrics import structural_similarity

from galleries.imaging.comparing import list_size
from galleries.imaging.comparing.list_size import Cropped, carried, differences
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.geometry import Rect
from galleries.told import Told
from tests.imaging.heads import head

WHOLE = (0.0, 0.0, 1.0, 1.0)


def reading(**values: object) -> FrameReading:
    plain = FrameReading(width=800, height=1000, read_scale=1, face=head(399.5, 399.5, 100), face_reason=Told("x", {}))
    return replace(plain, **values)  # type: ignore[arg-type]


def test_shares_are_those_of_the_crop() -> None:
    # Eyes 100 px apart, chin 170 below them, crown 1.15 × 170 above: the head is 365.5 px high.
    told = carried(reading(), Rect(0, 0, 800, 1000))
    assert told is not None
    assert told.head_share == pytest.approx(0.3655)
    assert told.eyes_share == pytest.approx(100 / 800)
    # The oval of the made head is a 16-gon in an ellipse of 95 × 125 px.
    area = 8 * np.sin(np.pi / 8) * 95 * 125
    assert told.face_share == pytest.approx(area / 800_000, rel=1e-6)
    half = carried(reading(), Rect(0, 400, 800, 500))
    assert half is not None
    assert half.head_share == pytest.approx(170 / 500)
    assert half.face_share < 2 * told.face_share


def test_contrasts_are_those_of_the_colours_read() -> None:
    told = carried(reading(face_l=100.0, skin_ab=(0.0, 0.0), backdrop_lab=(0.0, 0.0, 0.0)), Rect(0, 0, 800, 1000))
    assert told is not None
    assert told.face_to_backdrop == pytest.approx(21)
    assert told.face_from_backdrop == pytest.approx(100, abs=0.01)  # black to white is 100 in CIEDE2000
    assert told.backdrop_to_white == pytest.approx(21)
    assert told.backdrop_to_dark is not None
    assert told.backdrop_to_dark < 1.3


def test_what_the_reading_does_not_know_is_not_told() -> None:
    told = carried(reading(face_l=50.0), Rect(0, 0, 800, 1000))
    assert told is not None
    assert (told.face_to_backdrop, told.face_from_backdrop, told.backdrop_to_white) == (None, None, None)
    assert carried(reading(face=None), Rect(0, 0, 800, 1000)) is None


def picture(*, seed: int = 1, shift: int = 0) -> Cropped:
    rng = np.random.default_rng(seed)
    small = rng.integers(0, 255, (10, 8, 3)).astype(np.uint8)
    pixels = np.clip(cv2.resize(small, (320, 400), interpolation=cv2.INTER_CUBIC).astype(int) + shift, 0, 255)
    return Cropped(cv2.imencode(".png", pixels.astype(np.uint8))[1].tobytes(), WHOLE)


def test_a_picture_is_no_different_from_itself_and_different_from_others() -> None:
    same, lighter, other = differences([picture(), picture(), picture(shift=30), picture(seed=2)])[:3]
    assert (same.one, same.other, same.colour, same.likeness) == (0, 1, 0.0, 1.0)
    assert 1 < lighter.colour < other.colour
    assert lighter.likeness > other.likeness


def test_the_part_alone_counts_and_pictures_of_another_shape_are_not_compared() -> None:
    black = np.zeros((200, 200, 3), np.uint8)
    half = black.copy()
    half[:, 100:] = 255
    left, right = (0.0, 0.0, 0.5, 1.0), (0.5, 0.0, 0.5, 1.0)
    both = [Cropped(cv2.imencode(".png", one)[1].tobytes(), part) for one, part in ((black, left), (half, right))]
    (difference,) = differences(both)
    assert difference.colour == pytest.approx(100, abs=0.01)
    assert list_size.at_list_size(both[0]).shape == (128, 64, 3)
    assert differences([both[0], replace(both[1], part=WHOLE)]) == []


def test_likeness_as_the_outside_library_has_it() -> None:
    rng = np.random.default_rng(3)
    one = cv2.GaussianBlur(rng.uniform(0, 100, (80, 64)), (0, 0), 3)
    other = one + rng.normal(0, 4, one.shape)
    theirs, field = structural_similarity(
        one, other, data_range=100, gaussian_weights=True, sigma=1.5, use_sample_covariance=False, full=True
    )
    inside = np.asarray(field)[5:-5, 5:-5].mean()
    assert theirs == pytest.approx(inside, abs=1e-9)
    padded = list_size.likeness(one.astype(np.float32), other.astype(np.float32))
    assert padded == pytest.approx(theirs, abs=0.02)  # theirs leaves the border of 5 px out
