"""A 64-bit perceptual hash: near-identical frames differ in few bits."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.face.models import averaged
from galleries.imaging.face.ranks import median

_SIDE = 32
_LOW = 8


def perceptual_hash(rgb: NDArray[np.uint8]) -> int:
    """Signs of the 8×8 lowest cosine coefficients of the grey picture against their median; 0..2^64-1.

    The picture, uint8 (height, width, 3), is squeezed to 32×32; the constant term is left out of the median.
    After Zauner 2010, 'Implementation and benchmarking of perceptual image hash functions' [from memory].
    """
    small = averaged(rgb, _SIDE, _SIDE)
    grey = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32)
    low = cv2.dct(grey)[:_LOW, :_LOW].ravel()
    bits = low > median(low[1:])
    return int("".join("1" if bit else "0" for bit in bits), 2)


def hash_text(value: int) -> str:
    """16 hexadecimal digits; `int(text, 16)` is the inverse."""
    return f"{value:016x}"


def distance(one: int, other: int) -> int:
    """Bits that differ, 0..64."""
    return (one ^ other).bit_count()
