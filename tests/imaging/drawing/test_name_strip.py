"""The name strip: nothing outside it changes, long names shrink, nothing overflows, other scripts come out."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from galleries.imaging.drawing.name_strip import SIDE_SHARE, draw_name_strip, fitted, strip_box
from galleries.imaging.errors import ImagingError
from tests.telling import refused


def grey(dtype: type = np.uint8, width: int = 600, height: int = 750) -> np.ndarray:
    return np.full((height, width, 3), np.iinfo(dtype).max // 2, dtype)


def ink_box(out: np.ndarray, box: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    x, y, w, h = box
    ys, xs = np.nonzero(out[y : y + h, x : x + w, 0] < 0.6 * np.iinfo(out.dtype).max)
    return int(xs.min()), int(ys.min()), int(xs.max()), int(ys.max())


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_only_the_strip_changes(dtype: type) -> None:
    before = grey(dtype)
    out = draw_name_strip(before, "Zoë Ångström", 60, inset=20, foot=30)
    x, y, w, h = strip_box(600, 750, 60, inset=20, foot=30)
    outside = np.ones(out.shape[:2], bool)
    outside[y : y + h, x : x + w] = False
    assert (out[outside] == before[outside]).all()
    assert (before == before[0, 0]).all(), "the input is left alone"
    assert out[y, x, 0] == np.iinfo(dtype).max
    assert (out[..., 0] == out[..., 1]).all()
    assert (out[..., 0] == out[..., 2]).all(), "the strip is neutral"


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 40), st.integers(24, 120), st.integers(200, 900))
def test_a_name_never_leaves_its_strip(words: int, strip: int, width: int) -> None:
    name = " ".join(["Øyvåg"] * words)
    out = None
    with suppress(ImagingError):  # refused as too small to read: the table below pins the sentence
        out = draw_name_strip(grey(width=width), name, strip)
    assume(out is not None)
    left, top, right, bottom = ink_box(out, strip_box(width, 750, strip))
    margin = int(width * SIDE_SHARE) - 1
    assert left >= margin
    assert right <= width - 1 - margin
    assert top >= 1
    assert bottom <= strip - 2
    assert abs((left + right) / 2 - width / 2) <= 3, "set in the middle"


def test_long_names_shrink_and_short_ones_share_a_size() -> None:
    short, tall = fitted("aaa", 500, 40), fitted("ÅÇgp", 500, 40)
    assert short.shape[0] < tall.shape[0] <= 40
    assert fitted("aaa" * 8, 300, 40).shape[1] <= 300
    assert fitted("aaa" * 8, 300, 40).shape[0] < short.shape[0]


def test_names_in_other_scripts_are_drawn_and_differ() -> None:
    drawn = [fitted(name, 400, 40) for name in ("李小龍", "李小明", "Жанна", "Ελένη")]
    assert all(mask.max() > 0.9 for mask in drawn)
    assert drawn[0].shape != drawn[1].shape or not np.array_equal(drawn[0], drawn[1])


@pytest.mark.parametrize(
    ("name", "height", "words"),
    [
        ("", 60, "empty"),
        ("  ", 60, "empty"),
        ("A\U000e0fffB", 60, "No font"),
        ("A", 800, "does not fit"),
        ("A" * 500, 40, "too long"),
    ],
)
def test_what_cannot_be_set_is_told(name: str, height: int, words: str) -> None:
    with refused(ImagingError, words):
        draw_name_strip(grey(), name, height)
