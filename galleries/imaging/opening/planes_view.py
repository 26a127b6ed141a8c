"""The RGB of a picture's planes, upright, made where it is looked at and nowhere else."""

from __future__ import annotations

import numpy as np

from galleries.imaging.arrays import Pixels
from galleries.imaging.colour.planes import Planes, to_rgb
from galleries.imaging.opening.decode import view_upright


class UprightView:
    """Indexed like an array (h, w, 3) of uint8, by one slice each for rows and columns, without steps.

    `orientation` is EXIF's, 1 to 8, of the picture that lies in the planes.
    """

    dtype = np.dtype(np.uint8)
    ndim = 3

    def __init__(self, planes: Planes, orientation: int = 1) -> None:
        self._planes, self._orientation = planes, orientation
        self._sideways = orientation in (5, 6, 7, 8)
        self._mirrored, self._upended = orientation in (2, 3, 6, 7), orientation in (3, 4, 7, 8)
        width, height = planes.size
        self.shape = (width, height, 3) if self._sideways else (height, width, 3)

    @property
    def strides(self) -> tuple[int, int, int]:
        """Those that RGB would have, had the whole been made: how parts lie in memory."""
        down, across = 3 * self._planes.size[0], 3
        if self._sideways:
            down, across = across, down
        return -down if self._upended else down, -across if self._mirrored else across, 1

    @property
    def light(self) -> Pixels:
        """The picture's plane of light (h, w), upright, as a view: grey of its RGB up to rounding."""
        return view_upright(self._planes.luma, self._orientation)

    def __getitem__(self, where: tuple[slice, slice]) -> Pixels:
        rows, columns = (slice(*one.indices(side)) for one, side in zip(where, self.shape[:2], strict=True))
        if self._upended:
            rows = slice(self.shape[0] - rows.stop, self.shape[0] - rows.start)
        if self._mirrored:
            columns = slice(self.shape[1] - columns.stop, self.shape[1] - columns.start)
        part = self._part(columns, rows).transpose(1, 0, 2) if self._sideways else self._part(rows, columns)
        return part[:: -1 if self._upended else 1, :: -1 if self._mirrored else 1]

    def _part(self, rows: slice, columns: slice) -> Pixels:
        """RGB of rows and columns of the planes; a sample of colour more on either side, for what lies between."""
        planes = self._planes
        (width, height), (few_across, few_down) = planes.size, planes.colour_size
        if rows.stop <= rows.start or columns.stop <= columns.start:
            return np.empty((max(0, rows.stop - rows.start), max(0, columns.stop - columns.start), 3), np.uint8)
        top, bottom, down = _with_margin(rows, height, few_down)
        left, right, across = _with_margin(columns, width, few_across)
        colour = (slice(top // down, -(-bottom // down)), slice(left // across, -(-right // across)))
        cut = Planes(planes.luma[top:bottom, left:right], planes.cb[colour], planes.cr[colour])
        rgb = to_rgb(cut)
        return rgb[rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]


def _with_margin(part: slice, length: int, few: int) -> tuple[int, int, int]:
    """Start and end of a part with a sample of colour more at both ends, and how many pixels one stands for."""
    if length == few:
        return part.start, part.stop, 1
    return max(0, part.start - part.start % 2 - 2), min(length, part.stop + part.stop % 2 + 2), 2
