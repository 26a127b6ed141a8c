"""What takes a stamp away again, tried with more than a copyist has: the picture beneath, and each piece's true place.

Dekel, Rubinstein, Liu, Freeman, On the Effectiveness of Visible Watermarks (CVPR 2017): one stamp on many pictures is
solved for, and small changes from picture to picture are what stands against it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from unittest import mock

import numpy as np
import pytest
from numpy.typing import NDArray

from galleries.imaging.drawing import stamp as stamping
from galleries.imaging.drawing import stamp_letters
from galleries.imaging.drawing.stamp import StampText, clear_zones, stamp, stamp_boxes
from galleries.imaging.drawing.stamp_layout import Piece, Rows, pieces_of
from tests.imaging.heads import head

WIDTH, HEIGHT, SEARCH = 480, 600, 4
FACE = head(240, 250, 78)
Part = NDArray[np.float32]


def text(frame: int = 0, secret: bytes = b"quay") -> StampText:
    return StampText("Harbour Light", "0412", secret=secret, frame=b"%d" % frame)


def picture() -> NDArray[np.uint8]:
    """A bright backdrop above, a dark coat below, and fine grain."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    tone = np.where(y < 400, 190 - x // 12, 45 + x // 16) + np.random.default_rng(3).normal(0, 3, (HEIGHT, WIDTH))
    return np.clip(np.repeat(tone[:, :, None], 3, axis=2), 0, 255).astype(np.uint8)


PICTURE = picture()


FLAT = np.clip(PICTURE // 8 + 60, 0, 255).astype(np.uint8)


def psnr(left: Part) -> float:
    return 10 * math.log10(255**2 / float(np.mean(left.astype(np.float64) ** 2)))


def straight_ink(piece: Piece) -> Part:
    """The known words at the piece's own size and slant, letters and edge, in its box and `SEARCH` px round it."""
    with mock.patch.object(stamp_letters, "BEND", 0.0):
        letters = stamp_letters.drawn(piece.place.line, text().of_frame(""), patched=False)
    ink = letters.whole / np.float32(255)
    return np.pad(ink, ((2 * SEARCH, 2 * SEARCH), (2 * SEARCH, 2 * SEARCH), (0, 0)))


def least_squares(plain: NDArray[np.uint8], stamped: NDArray[np.uint8], piece: Piece) -> Part:
    """What is left of the stamp in one piece's ink, after the best of all opacities at the best of all places.

    Letters and edge may each be light and dark, so that four opacities are solved for, against the true picture.
    """
    left, top, width, height = piece.place.box
    inked = np.zeros((HEIGHT, WIDTH), bool)
    inked[piece.rows, piece.columns] = True
    x, y = slice(max(0, left), min(WIDTH, left + width)), slice(max(0, top), min(HEIGHT, top + height))
    inside, under = inked[y, x], plain[y, x, 0].astype(np.float32)
    change = stamped[y, x, 0][inside] - under[inside]
    ink, room = straight_ink(piece), np.stack([255 - under, -under])[:, inside]
    best: Part | None = None
    for dy, dx in itertools.product(range(-SEARCH, SEARCH + 1), repeat=2):
        at_y, at_x = y.start - top + 2 * SEARCH + dy, x.start - left + 2 * SEARCH + dx
        here = ink[at_y : at_y + inside.shape[0], at_x : at_x + inside.shape[1]][inside]
        parts = np.stack([room[i] * here[:, j] for i in (0, 1) for j in (0, 1)], axis=1)
        rest = change - parts @ np.linalg.solve(parts.T @ parts + 1e-3 * np.eye(4), parts.T @ change)
        if best is None or (rest**2).sum() < (best**2).sum():
            best = np.asarray(rest, np.float32)
    assert best is not None
    return best


def removed(plain: NDArray[np.uint8]) -> float:
    """dB over the ink of some pieces after the removal."""
    stamped = stamp(plain, text(), [FACE])
    pieces = some(pieces_of(WIDTH, HEIGHT, [FACE], text()))
    return psnr(np.concatenate([least_squares(plain, stamped, piece) for piece in pieces]))


def some(pieces: Sequence[Piece]) -> list[Piece]:
    """A large and a small row's piece with the most ink, and all that are held."""
    rows = sorted((piece for piece in pieces if not piece.place.held), key=lambda piece: -len(piece.rows))
    lines = {piece.place.line.text: piece for piece in reversed(rows)}
    return [*lines.values(), *(piece for piece in pieces if piece.place.held)]


def even(dice: np.random.Generator, width: int, height: int, cell: float) -> Part:
    return np.full((height, width), 0.5, np.float32)


def test_knowing_the_words_and_the_places_does_not_take_the_stamp_off(monkeypatch: pytest.MonkeyPatch) -> None:
    assert removed(PICTURE) < 22
    assert removed(FLAT) < 22
    # The same removal clears even ink in straight lines, which is what a stamp without chances is.
    monkeypatch.setattr(stamping, "noise", even)
    monkeypatch.setattr(stamp_letters, "noise", even)
    monkeypatch.setattr(stamp_letters, "BEND", 0.0)
    assert removed(FLAT) > 28


def test_another_frames_stamp_is_no_key_to_this_one() -> None:
    """Whoever has one frame unstamped knows its stamp exactly; laid over another at the best opacity it leaves most."""
    one, other = (stamp(PICTURE, text(n), [FACE])[:, :, 0].astype(np.float32) - PICTURE[:, :, 0] for n in (1, 2))
    least = np.inf
    for dy, dx in itertools.product(range(-SEARCH, SEARCH + 1), repeat=2):
        moved = np.roll(one, (dy, dx), (0, 1))
        rest = other - moved * ((moved * other).sum() / (moved * moved).sum())
        least = min(least, float((rest**2).sum()))
    assert least > 0.35 * float((other**2).sum())
    assert 10 * math.log10(255**2 / (least / (other != 0).sum())) < 22


def median_left(secrets: Sequence[bytes]) -> tuple[float, float]:
    """Share of the first stamp's ink that the median of all still moves by over 12 code values: rows, held pieces."""
    stamped = np.stack([stamp(PICTURE, text(n, s), [FACE])[:, :, 0] for n, s in enumerate(secrets)])
    moved = np.abs(np.median(stamped, axis=0) - PICTURE[:, :, 0]) > 12
    pieces = pieces_of(WIDTH, HEIGHT, [FACE], text(0, secrets[0]))
    shares = []
    for held in (False, True):
        shares.append(
            float(np.mean(np.concatenate([moved[p.rows, p.columns] for p in pieces if p.place.held is held])))
        )
    return shares[0], shares[1]


def test_the_median_of_thirty_frames_of_a_look_still_reads() -> None:
    rows, held = median_left([b"quay"] * 30)
    assert rows > 0.25
    assert held > 0.25
    rows, _held = median_left([b"%d" % n for n in range(15)])
    assert rows < 0.02, "rows that lie elsewhere in every frame are cleared: why a sitting's rows share their places"


def test_each_frame_has_a_place_an_angle_a_size_and_ink_of_its_own() -> None:
    plans = [Rows.of(text(n)) for n in range(8)]
    for what in ("slant_deg", "size", "shift"):
        assert len({getattr(plan, what) for plan in plans}) == 8
    assert len({stamp(PICTURE, text(n), [FACE]).tobytes() for n in range(8)}) == 8
    assert np.array_equal(stamp(PICTURE, text(3), [FACE]), stamp(PICTURE, text(3), [FACE]))


def test_sittings_differ_by_far_more() -> None:
    plans = [Rows.of(text(0, b"%d" % n)) for n in range(40)]
    slants = [plan.slant_deg for plan in plans]
    assert min(slants) < -25 < 25 < max(slants)
    assert np.ptp([plan.size for plan in plans]) > 0.15
    assert "quay" not in repr(text())  # the secret gets into no log


def test_letters_weigh_more_where_the_picture_is_busy_and_turn_dark_on_what_is_light() -> None:
    grain = np.random.default_rng(1).integers(-45, 46, (HEIGHT // 6, WIDTH // 6))
    coarse = np.kron(grain, np.ones((6, 6)))[:, :, None]
    calm = np.full((HEIGHT, WIDTH, 3), 110, np.uint8)
    busy = np.clip(calm + coarse, 0, 255).astype(np.uint8)
    weights = [np.abs(stamp(each, text(), []).astype(int) - each).mean() for each in (calm, busy)]
    assert weights[1] > 1.1 * weights[0]
    for value, darker in ((40, False), (230, True)):
        even_tone = np.full((HEIGHT, WIDTH, 3), value, np.uint8)
        change = stamp(even_tone, text(), []).astype(int) - value
        assert bool(abs(change[change < 0].sum()) > change[change > 0].sum()) is darker


@pytest.mark.parametrize("apart", [170, 240])
@pytest.mark.parametrize("secret", [b"quay", b"lamp", b"rope"])
def test_with_two_people_both_pairs_of_eyes_stay_free(apart: int, secret: bytes) -> None:
    pair = [head(300 - apart / 2, 260, 70, roll=6), head(300 + apart / 2, 300, 64, roll=-8)]
    grey = np.full((700, 600, 3), 128, np.uint8)
    changed = (stamp(grey, text(0, secret), pair) != 128).any(axis=2)
    y, x = np.mgrid[0:700, 0:600]
    for face in pair:
        for (cx, cy), radius in clear_zones(face):
            assert not changed[np.hypot(x - cx, y - cy) < radius - 3].any()
        left, top, width, height = face.box
        own = [b for b in stamp_boxes(600, 700, pair, text(0, secret)) if left <= b[0] and b[0] + b[2] <= left + width]
        assert any(top <= b[1] and b[1] + b[3] <= top + height for b in own), "a piece on each face"
