"""Where the head is and how the camera sees it: millimetres on the head to pixels of the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]
PIVOT = np.array([0.0, 95.0, -75.0])  # the head turns about the top of the neck


@dataclass(frozen=True)
class Pose:
    """Angles in degrees. yaw > 0 looks to the picture's right, pitch > 0 looks down, roll > 0 leans clockwise."""

    yaw: float
    pitch: float
    roll: float

    def matrix(self) -> Matrix:
        """Rotation that takes head axes to camera axes."""
        a, b, c = np.deg2rad([self.yaw, self.pitch, self.roll])
        turn = np.array([[np.cos(a), 0, np.sin(a)], [0, 1, 0], [-np.sin(a), 0, np.cos(a)]])
        nod = np.array([[1, 0, 0], [0, np.cos(b), np.sin(b)], [0, -np.sin(b), np.cos(b)]])
        lean = np.array([[np.cos(c), -np.sin(c), 0], [np.sin(c), np.cos(c), 0], [0, 0, 1]])
        return np.asarray(lean @ nod @ turn)


@dataclass(frozen=True)
class View:
    """A camera far away: `scale` pixels per mm, `origin` pixel of the head's origin when it sits straight."""

    width: int
    height: int
    scale: float
    origin: tuple[float, float]
    pose: Pose

    def resized(self, factor: float, width: int, height: int) -> View:
        x, y = self.origin
        origin = ((x + 0.5) * factor - 0.5, (y + 0.5) * factor - 0.5)  # pixels are counted at their centres
        return View(width, height, self.scale * factor, origin, self.pose)

    def to_camera(self, points: NDArray[np.floating]) -> Matrix:
        """Head points (..., 3) to camera axes (mm, origin at the head's resting origin)."""
        return np.asarray((points - PIVOT) @ self.pose.matrix().T + PIVOT)

    def to_pixels(self, points: NDArray[np.floating]) -> Matrix:
        """Head points (..., 3) to pixels (..., 2)."""
        seen = self.to_camera(points)
        return np.asarray(seen[..., :2] * self.scale + np.asarray(self.origin))
