"""Parts of a picture that may lie turned or mirrored in memory (`opening.decode.view_upright`)."""

from __future__ import annotations

import cv2
import numpy as np

from galleries.imaging.arrays import Pixels


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
