"""A picture as one plane of light and two of colour, as JPEG keeps it: half the samples of RGB, and none to convert.

Full-range Y, Cb and Cr of ITU-T T.871 (JFIF): 128 is neutral, and black and white stay black and white to the code.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels

Plane = NDArray[np.uint8]  # (h, w)


@dataclass(frozen=True)
class Planes:
    """`luma` (h, w), `cb` and `cr` of one size (h', w'), each uint8; h' is h or half of it rounded up, so is w'.
    A sample of half a side lies in the middle of the two that it stands for."""

    luma: Plane
    cb: Plane
    cr: Plane

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.luma.shape[1], self.luma.shape[0]

    @property
    def colour_size(self) -> tuple[int, int]:
        return self.cb.shape[1], self.cb.shape[0]


def half(length: int) -> int:
    """Samples of colour for so many of light."""
    return (length + 1) // 2


def to_rgb(planes: Planes) -> NDArray[np.uint8]:
    """RGB (h, w, 3) in the picture's own profile; colour between its samples runs evenly, as decoders have it."""
    width, height = planes.size
    across, down = (1 if whole == few else 2 for whole, few in zip(planes.size, planes.colour_size, strict=True))

    def spread(colour: Plane) -> Plane:
        if across == down == 1:
            return colour
        size = (across * colour.shape[1], down * colour.shape[0])
        return np.asarray(cv2.resize(colour, size, interpolation=cv2.INTER_LINEAR)[:height, :width], np.uint8)

    merged = cv2.merge((planes.luma, spread(planes.cr), spread(planes.cb)))
    return np.asarray(cv2.cvtColor(merged, cv2.COLOR_YCrCb2RGB, dst=merged), np.uint8)


def from_rgb(rgb: Pixels) -> Planes:
    """Planes of RGB (h, w, 3) uint8, with colour at half of both sides, each sample the mean of four."""
    luma, cr, cb = cv2.split(cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2YCrCb))
    return Planes(luma, halved(cb), halved(cr))


def halved(plane: Plane) -> Plane:
    """The mean of two by two, at half of both sides rounded up; what is one short is repeated."""
    height, width = plane.shape
    averaged = np.empty((half(height), half(width)), np.uint8)
    # What is one short is bordered by itself: a border round a whole plane takes as long as averaging it.
    rows, columns = ((slice(0, side - side % 2), slice(side - side % 2, side)) for side in (height, width))
    for down in rows:
        for across in columns:
            part = plane[down, across]
            if part.size == 0:
                continue
            if part.shape[0] % 2 or part.shape[1] % 2:
                part = cv2.copyMakeBorder(part, 0, part.shape[0] % 2, 0, part.shape[1] % 2, cv2.BORDER_REPLICATE)
            size = part.shape[1] // 2, part.shape[0] // 2
            few = slice(down.start // 2, half(down.stop)), slice(across.start // 2, half(across.stop))
            averaged[few] = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
    return averaged
