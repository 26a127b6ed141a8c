"""Output sharpening, the last step on pixels, by use and by how much the picture was shrunk; without halos.

A 3×3 high-boost kernel: about the radius that matters at the output's own pixels. Screens need little, since
Lanczos keeps a shrunken picture crisp. Print spreads every dot, so it gets about double. An enlarged picture
holds no detail at this radius and gets half: more would only raise its grain. Amounts: common practice, no
source; what the tests hold them to is the overshoot at an edge.

Lanczos and sharpening both overshoot at strong edges: dark hair before a bright backdrop would wear a light
rim. So no pixel may leave the range of plain averages found in its 3×3 neighbourhood by more than a few
code values. Texture of low contrast never comes near that bound and is sharpened in full.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.output.resize import plain_average

_PERCENT = {"print": 45, "casting": 22, "web": 22, "full": 0}
OVERSHOOT = 6  # 8-bit code values
_NEIGHBOURS = np.ones((3, 3), np.uint8)
_BINOMIAL = np.array([0.25, 0.5, 0.25], np.float32)


def amount_for(use: str, reduction: float) -> int:
    """Percent of the detail added back; `reduction` is source pixels an output pixel (under 1 = enlarged)."""
    percent = _PERCENT[use]
    return percent // 2 if reduction < 1 else percent


def sharpen(pixels: NDArray[Any], percent: int) -> NDArray[Any]:
    """(h, w) or (h, w, 3), uint8 or uint16, with `percent` of the difference to a 3×3 binomial blur added back."""
    if not percent:
        return pixels
    share = percent / 100
    # Blurred to whole code values first: at most one from the sum in one pass, in half its time.
    blurred = cv2.sepFilter2D(pixels, -1, _BINOMIAL, _BINOMIAL, borderType=cv2.BORDER_REPLICATE)
    return cv2.addWeighted(pixels, 1 + share, blurred, -share, 0, dst=blurred)


def without_halos(pixels: NDArray[Any], source: NDArray[Any]) -> NDArray[Any]:
    """`pixels` held within the range of `source`'s plain averages round each pixel, ± `OVERSHOOT`.

    source: what `pixels` was resized from, in the same colours and bits, any size.
    """
    height, width = pixels.shape[:2]
    return within(pixels, plain_average(source, width, height))


def within(pixels: NDArray[Any], plain: NDArray[Any]) -> NDArray[Any]:
    """`pixels`, (h, w) or (h, w, 3), held within the range of plain averages of the same shape round each, ±
    `OVERSHOOT`; `plain` is written over."""
    height = len(pixels)
    slack = OVERSHOOT * (257 if pixels.dtype == np.uint16 else 1)
    least, most = cv2.erode(plain, _NEIGHBOURS), cv2.dilate(plain, _NEIGHBOURS, dst=plain)
    # Seen as one band, a plain number is added to every sample; all in place, for fresh memory costs time.
    flat = (height, -1)
    cv2.subtract(least.reshape(flat), float(slack), dst=least.reshape(flat))
    cv2.add(most.reshape(flat), float(slack), dst=most.reshape(flat))
    cv2.max(pixels, least, dst=least)
    return cv2.min(least, most, dst=most)
