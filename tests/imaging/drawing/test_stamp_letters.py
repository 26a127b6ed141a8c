"""A line's ink: turned and brought to its size at once, without losing any."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from galleries.imaging.drawing import stamp_letters
from galleries.imaging.drawing.stamp_text import StampText

CHANCES = StampText("Studio Ørsted & Lind", secret=b"one", frame=b"1")
WORDS = CHANCES.line


def straight(size: float, turn_deg: float, monkeypatch: pytest.MonkeyPatch) -> stamp_letters.Letters:
    monkeypatch.setattr(stamp_letters, "BEND", 0.0)
    one = stamp_letters.line(WORDS, size, 3000, turn_deg)
    return stamp_letters.drawn(one, CHANCES.of_frame("large"), patched=False)


def test_what_is_neither_turned_nor_bent_is_the_upright_ink_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    upright = stamp_letters._ink(WORDS, 70)
    whole = straight(70, 0, monkeypatch).whole
    assert whole.shape == (upright.shape[0] + 2, upright.shape[1] + 2, 2)
    far = np.abs(whole[1:-1, 1:-1].astype(int) - upright)
    assert far.max() <= stamp_letters._THIN
    assert not whole[0].any()
    assert not whole[:, 0].any()


@pytest.mark.parametrize("size", [19, 27, 40, 70, 110])
@pytest.mark.parametrize("turn_deg", [-31, -0.4, 23, 88])
def test_a_turned_line_has_as_much_ink_as_lies_upright_and_lies_where_it_should(
    size: float, turn_deg: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    upright, letters = stamp_letters._ink(WORDS, max(64, size))[:, :, 0], straight(size, turn_deg, monkeypatch)
    one = stamp_letters.line(WORDS, size, 3000, turn_deg)
    turned = letters.whole[:, :, 0]
    assert turned.sum() == pytest.approx(upright.sum() * one.factor**2, rel=0.03)
    # Beside it: turned at four times its size by an affine warp, and averaged.
    turn, by_x, by_y = math.radians(turn_deg), 4 * one.length / upright.shape[1], 4 * one.thickness / upright.shape[0]
    there = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]) * [by_x, by_y]
    middle = there @ [(upright.shape[1] - 1) / 2, (upright.shape[0] - 1) / 2]
    moved = np.array([4 * letters.width - 1, 4 * letters.height - 1]) / 2 - middle
    large = cv2.warpAffine(upright, np.column_stack([there, moved]), (4 * letters.width, 4 * letters.height))
    expected = cv2.resize(large, (letters.width, letters.height), interpolation=cv2.INTER_AREA)
    assert np.corrcoef(turned.ravel(), expected.ravel())[0, 1] > 0.99


def test_no_place_is_moved_by_more_than_the_bend() -> None:
    size = 70.0
    bend = stamp_letters._bend(CHANCES.of_frame("large"), 1000, size)
    assert bend.shape == (3, round(1000 / (1.6 * size)), 2)
    assert 0.5 * stamp_letters.BEND * size < np.abs(bend).max() <= stamp_letters.BEND * size
    assert not math.isclose(bend.min(), bend.max())


def test_letters_are_shrunk_by_half_steps_before_they_are_looked_up() -> None:
    assert [stamp_letters._halvings(factor) for factor in (1.3, 1, 0.75, 0.7, 0.5, 0.3)] == [0, 0, 0, 1, 2, 3]
