"""What counts as soft: a frame against the sharpest of its look."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from galleries.imaging.face.eyes import fine_detail
from galleries.imaging.face.reading import read_pixels
from galleries.sorting.eyes import ENLARGED, SOFT_SHARE, Usual, is_soft, soft_throughout, usual
from galleries.sorting.frames import FrameNumbers
from tests import outside
from tests.benchmarks import eyes as benchmark


def numbers(name: str, sharpness: float | None, soft: bool | None = None) -> FrameNumbers:
    return FrameNumbers(name, sharpness=sharpness, soft=soft)


def test_the_sharpest_tenth_is_the_measure_and_needs_five_frames() -> None:
    shot = [numbers(str(i), 0.3) for i in range(10)]
    assert usual([*shot, numbers("lucky", 0.9)]).sharpest == 0.3
    assert usual(shot[:4]).sharpest is None
    assert soft_throughout(usual([numbers(str(i), 0.12) for i in range(6)]))
    assert not soft_throughout(Usual())


@pytest.mark.parametrize(
    ("sharpness", "own", "sharpest", "expected"),
    [
        (0.4 * SOFT_SHARE - 0.01, False, 0.4, True),
        (0.4 * SOFT_SHARE + 0.01, True, 0.4, False),
        (0.4, True, None, True),  # nothing to hold it against: what the reading says by itself
        (None, None, 0.4, None),
    ],
)
def test_a_frame_is_held_against_the_sharpest(
    sharpness: float | None, own: bool | None, sharpest: float | None, expected: bool | None
) -> None:
    assert is_soft(numbers("x", sharpness, own), sharpest) is expected


@pytest.fixture(scope="module")
def portraits() -> list[np.ndarray]:
    return [rgb for _name, rgb, _marks in benchmark.portraits(outside.shared("portraits"))][3::8]


@pytest.mark.parametrize(("person", "times"), [(0, 1.0), (1, 2.5)])
def test_of_real_portraits_the_one_out_of_focus_is_soft_enlarged_or_not(
    portraits: list[np.ndarray], person: int, times: float
) -> None:
    """Portraits of the London set (DeBruine, Jones): as they are, with a shake that no print shows, noisy, and one out
    of focus; then such a look enlarged, every frame of which is soft by itself."""
    whole = portraits[person]
    shots = [whole, cv2.GaussianBlur(whole, (0, 0), 0.4), whole[:, ::-1], whole[8:, 8:]]
    shots.append(np.clip(whole + np.random.default_rng(3).normal(0, 4, whole.shape), 0, 255).astype(np.uint8))
    shots.append(cv2.GaussianBlur(whole, (0, 0), 2.5))
    large = [cv2.resize(one, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC) for one in shots]
    read = [read_pixels(np.ascontiguousarray(one)) for one in large]
    row = [numbers(str(i), one.sharpness, one.soft) for i, one in enumerate(read)]
    assert [is_soft(one, usual(row).sharpest) for one in row] == [False] * 5 + [True]
    assert all(one.soft for one in read) is soft_throughout(usual(row)) is (times > 1)


def test_a_picture_that_was_enlarged_holds_less_than_its_pixels(portraits: list[np.ndarray]) -> None:
    for whole in portraits:
        own, half = (
            fine_detail(whole),
            fine_detail(cv2.resize(whole, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)),
        )
        large = fine_detail(cv2.resize(whole, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC))
        assert own is not None
        assert half is not None
        assert large is not None
        assert min(own, half) > ENLARGED > large
    assert fine_detail(np.full((300, 300, 3), 90, np.uint8)) is None
    assert fine_detail(np.full((40, 40, 3), 90, np.uint8)) is None
