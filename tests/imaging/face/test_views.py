"""A part of a picture that lies turned or mirrored in memory is copied as it is seen."""

from __future__ import annotations

import numpy as np
import pytest

from galleries.imaging.face import views
from galleries.imaging.opening.decode import turn_upright, view_upright


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_part_is_the_same_however_the_picture_lies(orientation: int) -> None:
    stored = np.random.default_rng(orientation).integers(0, 256, (90, 120, 3), dtype=np.uint8)
    part = views.packed(view_upright(stored, orientation)[20:71, 10:43])
    assert np.array_equal(part, turn_upright(stored, orientation)[20:71, 10:43])
    assert part.flags.c_contiguous


@pytest.mark.parametrize("orientation", range(1, 9))
def test_parts_that_were_taken_as_they_lie_are_turned_back(orientation: int) -> None:
    stored = np.random.default_rng(orientation).integers(0, 256, (90, 120, 3), dtype=np.uint8)
    seen = view_upright(stored, orientation)
    lie = views.Lie.of(seen)
    part = lie.as_stored(seen[20:71, 10:43])
    assert min(part.strides) > 0
    assert part.strides[0] > part.strides[1]
    assert np.array_equal(lie.upright(part[None, :, :, 1])[0], turn_upright(stored, orientation)[20:71, 10:43, 1])
