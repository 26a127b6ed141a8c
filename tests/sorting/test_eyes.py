"""What counts as soft and as closing: a frame against the others of its look."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from galleries.imaging.face.eyes import fine_detail
from galleries.imaging.face.faces import Face
from galleries.imaging.face.reading import read_pixels
from galleries.sorting.eyes import ENLARGED, SOFT_SHARE, Usual, eyes_closed, is_soft, soft_throughout, usual
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
    return [rgb for _name, rgb, _marks in benchmark.portraits(outside.shared("portraits"))][4::8]


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


def lids_down(rgb: np.ndarray, face: Face, share: float) -> np.ndarray:
    """The upper lids brought down over the eyes by `share` of the opening: the skin above is stretched, and what it
    covers is gone, as in a blink. (Moving the picture of the whole eye together would show an iris that is an oval.)"""
    out = rgb.copy()
    for points in (np.array(face.right_lid), np.array(face.left_lid)):
        one, other = points[points[:, 0].argmin()], points[points[:, 0].argmax()]
        slope = one[1] + (other[1] - one[1]) * (points[:, 0] - one[0]) / (other[0] - one[0])
        columns = np.arange(int(one[0]), int(other[0]) + 2, dtype=np.float32)
        upper, lower = (
            np.interp(columns, *part[part[:, 0].argsort()].T)
            for part in (points[points[:, 1] <= slope + 0.01], points[points[:, 1] >= slope - 0.01])
        )
        opening = np.maximum(lower - upper, 0)
        arch = np.sqrt(np.sin(np.linspace(0, np.pi, len(columns))).clip(0))
        top = upper - 1.2 * np.median(opening[len(opening) // 4 : -len(opening) // 4]) * arch - 2
        y0, y1 = int(top.min()) - 2, int(lower.max()) + 2
        y, x = np.mgrid[y0:y1, int(one[0]) : int(other[0]) + 2].astype(np.float32)
        edge = upper + share * opening
        moved = top + (y - top) * (upper - 2 - top) / np.maximum(edge - top, 1e-3)
        source = np.where((y <= edge) & (y >= top), moved, y).astype(np.float32)
        out[y0:y1, x.astype(int).min() : x.astype(int).max() + 1] = cv2.remap(rgb, x, source, cv2.INTER_LINEAR)
    return out


def varied(rgb: np.ndarray, seed: int) -> np.ndarray:
    """Another frame of the same moment: turned a little, nearer or further, other light, noise and focus."""
    rng = np.random.default_rng(seed)
    height, width = rgb.shape[:2]
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(-6, 6), rng.uniform(0.8, 1.15))
    turned = cv2.warpAffine(rgb, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)
    lit = np.clip(turned * rng.uniform(0.75, 1.2) + rng.normal(0, 4, rgb.shape), 0, 255).astype(np.uint8)
    return cv2.GaussianBlur(lit, (0, 0), rng.uniform(0.2, 1))


def test_half_closed_eyes_of_real_portraits_are_seen_and_open_ones_are_not(portraits: list[np.ndarray]) -> None:
    """Lids brought down by half in two portraits (24 of all 26 are seen, none of 130 open ones is called closing)."""
    seen = []
    for whole in portraits[1:]:
        face = read_pixels(whole).face
        assert face is not None
        shots = [varied(whole, seed) for seed in range(5)] + [varied(lids_down(whole, face, 0.5), 9)]
        row = [FrameNumbers.from_reading(str(i), read_pixels(shot).as_dict()) for i, shot in enumerate(shots)]
        told = [eyes_closed(one, usual(row)) for one in row]
        assert told[:5] == [False] * 5
        seen.append(told[5])
    assert seen == [True] * 2


@pytest.mark.parametrize(
    ("openness", "reflex", "expected"),
    [(0.28, 0.10, True), (0.28, 0.19, False), (0.35, 0.10, False), (0.28, None, False), (0.10, 0.19, True)],
)
def test_both_the_opening_and_the_lid_must_say_so(openness: float, reflex: float | None, expected: bool) -> None:
    known = Usual(openness=0.35, reflex=0.20)
    assert eyes_closed(FrameNumbers("x", openness=openness, reflex=reflex), known) is expected
