"""What mouth and brows do, as shares of the face: of one picture, nothing about who it is or what they feel."""

from __future__ import annotations

import math

import numpy as np

from galleries.imaging.arrays import Floats

# Points of the mesh: mouth corners, middle of the lips, outer corners of the eyes, the brows' upper edge at its middle.
_CORNERS, _LIPS, _EYES, _BROWS = (61, 291), (13, 14), (33, 263), (105, 334)

Features = tuple[float, float, float]


def features(points: Floats, roll_deg: float) -> Features:
    """Of the mesh's points (468, 2 or 3) of a face whose eye line leans by `roll_deg`: the mouth's width, how far its
    corners stand above the middle of the lips, and how far the brows stand above the eyes' outer corners; each over the
    distance of those corners."""
    cos, sin = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    upright = points[:, :2] @ np.array([[cos, -sin], [sin, cos]])
    span = float(np.hypot(*(upright[_EYES[1]] - upright[_EYES[0]]))) or 1.0

    def height(pair: tuple[int, int]) -> float:
        return float(upright[list(pair), 1].mean())

    width = float(np.hypot(*(upright[_CORNERS[1]] - upright[_CORNERS[0]])))
    return width / span, (height(_LIPS) - height(_CORNERS)) / span, (height(_EYES) - height(_BROWS)) / span
