"""Hairs drawn as fine tapering lines with coverage: lashes, brows and strands share this brush."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels

from .noise import BAND, Field

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

    def doubled(self) -> Brush:
        """The same strokes on a picture of twice the size."""
        height, width = self.sheet.shape[:2]
        big = Brush(self.left * 2, self.top * 2, 1, 1)
        big.sheet = cv2.resize(self.sheet, (width * 2, height * 2), interpolation=cv2.INTER_LINEAR)
        return big

    def blend(self, picture: Pixels, strength: float = 1.0, soften: float = 0.0) -> None:
        """Put the strokes over the picture in place."""
        sheet = self.sheet if soften <= 0 else cv2.GaussianBlur(self.sheet, (0, 0), soften)
        if strength != 1.0:
            sheet = cv2.convertScaleAbs(sheet, alpha=strength)
        rows = slice(self.top, min(self.top + sheet.shape[0], picture.shape[0]))
        columns = slice(self.left, min(self.left + sheet.shape[1], picture.shape[1]))
        for first in range(rows.start, rows.stop, BAND):
            window = picture[first : min(first + BAND, rows.stop), columns]
            ink = sheet[first - self.top :][: window.shape[0], : window.shape[1]]
            red, green, blue, cover = cv2.split(ink)
            clear = cv2.bitwise_not(cover)
            kept = cv2.multiply(window, cv2.merge([clear, clear, clear]), scale=1.0 / 255.0)
            window[:] = cv2.add(kept, cv2.merge([red, green, blue]))


def toned_lines(brush: Brush, pieces: Points, colours: Field, thickness: int, bins: int) -> None:
    """Lay pieces with a colour each (n, 3), gathered into bins of like brightness, darkest first."""
    if len(pieces) == 0:
        return
    order = np.argsort(colours.mean(axis=1), kind="stable")
    for part in np.array_split(order, min(bins, len(order))):
        mean = colours[part].mean(axis=0)
        brush.lines(pieces[part], (float(mean[0]), float(mean[1]), float(mean[2])), thickness)
