"""Where the eyes are, for whoever lays something over a picture of any size.

A reading counts from the middle of the first pixel (its own middle is (0, 0)); crops and pages count from the
picture's corner, so that the first pixel's middle is (0.5, 0.5). The half pixel between the two is added here only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from galleries.imaging.face.faces import Point


def from_corner(point: Point) -> Point:
    """A point of a reading, in pixels counted from the picture's corner."""
    return point[0] + 0.5, point[1] + 0.5


@dataclass(frozen=True)
class EyesPlace:
    """The middle between the pupils and how far apart they are across, in fractions of the picture's width (x, gap)
    and height (y), counted from its corner."""

    x: float
    y: float
    gap: float


def eyes_place(
    right: Sequence[float] | None, left: Sequence[float] | None, width: int | None, height: int | None
) -> EyesPlace | None:
    """From the pupils of a stored reading and the size that was read; None where either is unknown."""
    if not (right and left and width and height):
        return None
    x, y = from_corner(((right[0] + left[0]) / 2, (right[1] + left[1]) / 2))
    return EyesPlace(round(x / width, 4), round(y / height, 4), round(abs(left[0] - right[0]) / width, 4))
