"""The top of the head against a backdrop, on painted heads whose top is known to the pixel."""

from __future__ import annotations

import numpy as np
import pytest

from galleries.imaging.face.crown import crown_against_backdrop

WALL, HAIR = (150, 150, 155), (60, 45, 35)
EYES, APART, BELOW, FOREHEAD = (200.0, 220.0), 48.0, 80.0, 190.0


def scene(top: float, *, wall: np.ndarray | None = None, reach: float = 70.0) -> np.ndarray:
    """A wall and a head: an ellipse of hair from `top` down."""
    rgb = np.empty((400, 400, 3), np.uint8)
    rgb[:] = WALL if wall is None else wall
    y, x = np.mgrid[0:400, 0:400]
    middle = (top + 340) / 2
    rgb[np.hypot((x - EYES[0]) / reach, (y - middle) / (340 - middle)) <= 1] = HAIR
    return rgb


def crown(rgb: np.ndarray) -> float | None:
    return crown_against_backdrop(rgb, EYES, APART, FOREHEAD, BELOW)


# A head from eyes to chin 80 px has its crown about as far above the eyes (art anatomy, from memory): 140, hair above.
@pytest.mark.parametrize("top", [90.0, 110.0, 130.0, 155.0])
def test_the_top_of_the_hair_is_found_within_a_few_pixels(top: float) -> None:
    found = crown(scene(top))
    assert found is not None
    assert found == pytest.approx(top, abs=6)  # the picture is read at half its size, and a head is round


@pytest.mark.parametrize("top", [30.0, 175.0])
def test_what_no_head_of_that_size_has_is_not_believed(top: float) -> None:
    """More than a face's length of hair above the expected crown, or a third of one missing."""
    assert crown(scene(top)) is None


def test_hair_at_the_frames_edge_has_no_known_top() -> None:
    assert crown_against_backdrop(scene(130.0)[140:], (200.0, 80.0), APART, 50.0, BELOW) is None


def test_a_head_as_bright_as_its_wall_is_not_guessed() -> None:
    assert crown(np.full((400, 400, 3), 60, np.uint8)) is None


def test_a_wall_that_falls_off_evenly_is_plain_enough() -> None:
    fall = np.linspace(120, 180, 400).astype(np.uint8)
    found = crown(scene(120.0, wall=np.repeat(fall[None, :, None], 3, axis=2)))
    assert found == pytest.approx(120, abs=8)


def test_without_wall_beside_the_head_there_is_no_answer() -> None:
    between = scene(120.0)[:, 150:250]
    assert crown_against_backdrop(between, (50.0, 220.0), APART, FOREHEAD, BELOW) is None
    narrow = scene(120.0)[:, 120:]
    assert crown_against_backdrop(narrow, (80.0, 220.0), APART, FOREHEAD, BELOW) == pytest.approx(120, abs=6), (
        "one side"
    )


def test_eyes_at_the_very_top_leave_nothing_to_read() -> None:
    assert crown_against_backdrop(scene(120.0), (200.0, 5.0), APART, 0.0, BELOW) is None
    assert crown_against_backdrop(scene(120.0), (200.0, -50.0), APART, -60.0, BELOW) is None


@pytest.mark.parametrize("factor", [1, 2])
def test_the_same_head_larger_has_its_top_where_it_should(factor: int) -> None:
    rgb = scene(120.0).repeat(factor, axis=0).repeat(factor, axis=1)
    middle = (EYES[0] * factor, EYES[1] * factor)
    found = crown_against_backdrop(rgb, middle, APART * factor, FOREHEAD * factor, BELOW * factor)
    assert found == pytest.approx(120 * factor, abs=6 * factor)


def test_eyes_read_a_little_elsewhere_leave_the_top_where_it_was() -> None:
    """By whole rows of the small picture it leapt by 1.6 pixels, up to 30 of a whole frame."""
    rgb = scene(120.0)
    places = [(EYES[0] + off, EYES[1] + off) for off in (-0.5, -0.25, 0.0, 0.25, 0.5)]
    tops = [crown_against_backdrop(rgb, place, APART * (1 + place[0] / 60_000), FOREHEAD, BELOW) for place in places]
    known = [top for top in tops if top is not None]
    assert len(known) == len(places)
    assert max(known) - min(known) < 0.8


def test_the_top_moves_with_the_head_by_less_than_a_row() -> None:
    tops = [100.0 + 0.5 * step for step in range(9)]
    off = [(crown(scene(top)) or 0.0) - top for top in tops]
    assert np.std(off) < 0.4
