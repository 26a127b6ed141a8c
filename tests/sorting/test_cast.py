"""Skin cast against the look's own median."""

from __future__ import annotations

import random

import colour
import numpy as np
import pytest

from galleries.sorting.cast import FEWEST, SEEN, casts

LIGHT_SKIN = (198.5, 147.2, 129.0)  # ColorChecker 2005 light skin in 8-bit sRGB, by the library colour-science


def skin_of(rgb: tuple[float, float, float]) -> tuple[float, float]:
    """a*, b* (D65) by the library colour-science, which knows nothing of this project."""
    lab = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(np.array(rgb) / 255), colour.CCS_ILLUMINANTS[
        "CIE 1931 2 Degree Standard Observer"]["D65"])  # fmt: skip
    return float(lab[1]), float(lab[2])


def look_of(count: int = 12, scatter: float = 0.8) -> dict[str, tuple[float, float] | None]:
    """Frames of one light: the same skin, each code value off by a little, as grain and expression make it."""
    dice = random.Random(5)
    return {f"{n}": skin_of((*(value + dice.gauss(0, scatter) for value in LIGHT_SKIN),)) for n in range(count)}  # type: ignore[arg-type]


def test_frames_of_one_light_are_not_pointed_out() -> None:
    found = casts(look_of())
    assert len(found) == 12
    assert not any(one.marked for one in found.values())


@pytest.mark.parametrize(
    ("gain", "towards"),
    [((1, 0.93, 1), "red"), ((1, 1.07, 1), "green"), ((1, 1, 0.87), "yellow"), ((0.99, 1, 1.16), "blue")],
)
def test_one_frame_under_another_light_is_named_with_its_direction(
    gain: tuple[float, float, float], towards: str
) -> None:
    look = look_of()
    r, g, b = (value * factor for value, factor in zip(LIGHT_SKIN, gain, strict=True))
    look["odd"] = skin_of((r, g, b))
    found = casts(look)
    assert [name for name, one in found.items() if one.marked] == ["odd"]
    assert found["odd"].towards == towards
    want = np.hypot(*np.subtract(look["odd"], skin_of(LIGHT_SKIN)))  # type: ignore[arg-type]
    assert found["odd"].distance == pytest.approx(want, abs=1.5)
    assert found["odd"].distance > SEEN


def test_the_median_is_the_looks_own() -> None:
    """A whole look under a warm gel is that look's colour, and no cast."""
    warm = {str(n): (30 + n / 10, 40.0) for n in range(8)}
    assert not any(one.marked for one in casts(warm).values())


def test_a_look_whose_light_moves_points_out_nothing() -> None:
    """A gel that is turned up from frame to frame scatters; no single frame is the odd one."""
    moving = {str(n): (10.0 + 2.0 * n, 15.0 + 2.0 * n) for n in range(12)}
    assert not any(one.marked for one in casts(moving).values())


def test_what_is_not_known_is_not_guessed() -> None:
    look = look_of()
    look["profile"] = None
    assert "profile" not in casts(look)
    few: dict[str, tuple[float, float] | None] = {str(n): (10.0, 10.0) for n in range(FEWEST - 1)}
    assert casts({**few, "unknown": None}) == {}


def test_an_even_number_of_grey_frames_is_their_own_median() -> None:
    found = casts({str(n): (0.0, 0.0) for n in range(6)})
    assert {(one.distance, one.marked) for one in found.values()} == {(0.0, False)}
