"""Mouth and brows as shares of the face: on points set by hand, and turned ones."""

from __future__ import annotations

import math

import numpy as np
import pytest

from galleries.imaging.arrays import Floats
from galleries.imaging.face.expression import features


def mesh(*, lean: float = 0.0, size: float = 1.0) -> Floats:
    """Outer eye corners 100 apart, mouth 56 wide with corners 4 above the lips' middle, brows 28 above the eyes."""
    points = np.zeros((468, 3))
    points[[33, 263], :2] = (-50, 0), (50, 0)
    points[[61, 291], :2] = (-28, 66), (28, 66)
    points[[13, 14], :2] = (0, 68), (0, 72)
    points[[105, 334], :2] = (-30, -28), (30, -28)
    turn = math.radians(lean)
    points[:, :2] = points[:, :2] @ np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    return points * size + 200


@pytest.mark.parametrize("lean", [0.0, 20.0, -35.0])
@pytest.mark.parametrize("size", [1.0, 3.5])
def test_the_shares_are_those_of_the_points_however_the_head_leans(lean: float, size: float) -> None:
    assert features(mesh(lean=lean, size=size), lean) == pytest.approx((0.56, 0.04, 0.28))
