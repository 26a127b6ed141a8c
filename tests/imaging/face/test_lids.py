"""How far the upper lid stands above the middle of the iris, on painted eyes whose lids are known."""

from __future__ import annotations

import numpy as np
import pytest

from galleries.imaging.face.lids import reflex_distance
from tests.imaging.face.test_eyes import painted_eye


def test_a_lid_that_comes_down_little_by_little_is_followed_without_leaps() -> None:
    """An opening is the eye's height over its width, half of it above the middle; whole rows made leaps of 1/64."""
    openings = np.linspace(0.26, 0.40, 15)
    distances = []
    for opening in openings:
        rgb, eye = painted_eye(opening=float(opening))
        distance = reflex_distance(rgb, eye.centre, eye.radius, eye.lid)
        assert distance is not None
        distances.append(distance)
    slope, start = np.polyfit(openings, distances, 1)
    assert slope == pytest.approx(0.5, abs=0.03)
    assert np.abs(np.array(distances) - slope * openings - start).max() < 0.003
