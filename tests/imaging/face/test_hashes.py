from __future__ import annotations

import cv2
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from galleries.imaging.face.hashes import distance, hash_text, perceptual_hash

WORDS = st.integers(0, 2**64 - 1)


def scene(seed: int, shift: int = 0) -> NDArray[np.uint8]:
    """Soft blobs, a different arrangement for each number."""
    rng = np.random.default_rng(seed)
    blobs = rng.integers(0, 256, (7, 5, 3), dtype=np.uint8)
    picture = cv2.resize(blobs, (320, 480), interpolation=cv2.INTER_CUBIC)
    return np.roll(picture, shift, axis=1)


def test_the_same_picture_smaller_or_recompressed_is_near() -> None:
    picture = scene(1)
    code = perceptual_hash(picture)
    small = cv2.resize(picture, (100, 150), interpolation=cv2.INTER_AREA)
    packed = cv2.imdecode(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 40])[1], cv2.IMREAD_COLOR)
    brighter = np.clip(picture.astype(int) + 15, 0, 255).astype(np.uint8)
    for other in (small, packed, brighter, scene(1, shift=3)):
        assert distance(code, perceptual_hash(np.ascontiguousarray(other))) <= 8


def test_different_pictures_are_far() -> None:
    codes = [perceptual_hash(scene(seed)) for seed in range(12)]
    apart = [distance(a, b) for i, a in enumerate(codes) for b in codes[:i]]
    assert min(apart) > 12
    assert 26 < np.mean(apart) < 38  # independent bits differ in half of 64


@given(WORDS, WORDS, WORDS)
def test_distance_is_a_metric(a: int, b: int, c: int) -> None:
    assert distance(a, a) == 0
    assert distance(a, b) == distance(b, a)
    assert distance(a, c) <= distance(a, b) + distance(b, c)
    assert 0 <= distance(a, b) <= 64


@given(WORDS)
def test_text_has_its_inverse(code: int) -> None:
    assert len(hash_text(code)) == 16
    assert int(hash_text(code), 16) == code
