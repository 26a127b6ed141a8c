"""Parts of a picture that may lie turned or mirrored in memory (`opening.decode.view_upright`)."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np

from galleries.imaging.arrays import Pixels


class Lie(NamedTuple):
    """How a picture lies in memory: its rows from the bottom up, from right to left, its columns in place of rows."""

    down: bool
    across: bool
    over: bool

    @classmethod
    def of(cls, picture: Pixels) -> Lie:
        down, across = picture.strides[:2]
        return cls(down < 0, across < 0, abs(down) < abs(across))

    def as_stored(self, part: Pixels) -> Pixels:
        """A part of the picture, (h, w, ...), as its memory has it: copied along its rows, which takes a third of the
        time of walking across them. A view."""
        plain = part[:: -1 if self.down else 1, :: -1 if self.across else 1]
        return plain.swapaxes(0, 1) if self.over else plain

    def upright(self, parts: Pixels) -> Pixels:
        """Several, (n, h, w), each back from `as_stored`, in one piece."""
        seen = parts.swapaxes(1, 2) if self.over else parts
        return np.ascontiguousarray(seen[:, :: -1 if self.down else 1, :: -1 if self.across else 1])


def light_of(picture: Pixels) -> Pixels | None:
    """The plane of light (h, w) of a picture kept as planes (`opening.planes_view`): its grey, without any RGB made."""
    light: Pixels | None = getattr(picture, "light", None)
    return light


def packed(part: Pixels) -> Pixels:
    """(h, w, 3) uint8 in one piece: copied along the rows it has in memory and turned afterwards, which takes a third
    of the time of walking across them."""
    down, across = part.strides[0] < 0, part.strides[1] < 0
    plain = part[:: -1 if down else 1, :: -1 if across else 1]
    if abs(plain.strides[0]) < abs(plain.strides[1]):
        plain = cv2.transpose(np.ascontiguousarray(plain.transpose(1, 0, 2)))
    if down or across:
        plain = cv2.flip(np.ascontiguousarray(plain), -1 if down and across else int(across))
    return np.ascontiguousarray(plain)
