"""Hairs drawn as fine tapering lines with coverage: lashes, brows and strands share this brush."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from .noise import Field

Points = NDArray[np.float64]


class Brush:
    """A window of the picture onto which anti-aliased lines are laid with premultiplied colour."""

    def __init__(self, left: int, top: int, width: int, height: int) -> None:
        self.left, self.top = left, top
        self.sheet = np.zeros((max(height, 1), max(width, 1), 4), np.uint8)

    @classmethod
    def over(cls, points: Points, margin: float, width: int, height: int) -> Brush:
        """A window around the points (..., 2), inside a picture of the given size."""
        flat = points.reshape(-1, 2)
        low = np.maximum(np.floor(flat.min(axis=0) - margin).astype(int), 0)
        high = np.minimum(np.ceil(flat.max(axis=0) + margin).astype(int), [width, height])
        return cls(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))

    def lines(self, pieces: Points, colour: tuple[float, float, float], thickness: int) -> None:
        """Lay pieces (n, points, 2) in pixels of the picture, colour in display values 0..1."""
        if len(pieces) == 0:
            return
        fixed = np.round((pieces - [self.left, self.top]) * 16.0).astype(np.int32)
        ink = [float(np.clip(part, 0, 1)) * 255.0 for part in colour]
        cv2.polylines(self.sheet, list(fixed), False, (*ink, 255.0), thickness, cv2.LINE_AA, 4)

    def blend(self, picture: Field, strength: float = 1.0, soften: float = 0.0) -> None:
        """Put the strokes over the display-value picture in place."""
        sheet = self.sheet if soften <= 0 else cv2.GaussianBlur(self.sheet, (0, 0), soften)
        rows = slice(self.top, self.top + sheet.shape[0])
        columns = slice(self.left, self.left + sheet.shape[1])
        window = picture[rows, columns]
        ink = sheet.astype(np.float32) * np.float32(strength / 255.0)
        window *= 1.0 - ink[..., 3:]
        window += ink[..., :3]


def toned_lines(brush: Brush, pieces: Points, colours: Field, thickness: int, bins: int) -> None:
    """Lay pieces with a colour each (n, 3), gathered into bins of like brightness, darkest first."""
    if len(pieces) == 0:
        return
    order = np.argsort(colours.mean(axis=1), kind="stable")
    for part in np.array_split(order, min(bins, len(order))):
        mean = colours[part].mean(axis=0)
        brush.lines(pieces[part], (float(mean[0]), float(mean[1]), float(mean[2])), thickness)
