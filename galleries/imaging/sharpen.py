"""Output sharpening, the last step on pixels, by use and by how much the picture was shrunk.

A 3×3 high-boost kernel: about the radius that matters at the output's own pixels. Screens need little, since
Lanczos keeps a shrunken picture crisp. Print spreads every dot, so it gets about double. An enlarged picture
holds no detail at this radius and gets half: more would only raise its grain. Amounts: common practice, no
source; the tests bound the overshoot at an edge instead.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from galleries.imaging import vips

_PERCENT = {"print": 45, "casting": 22, "web": 22, "full": 0}


def amount_for(use: str, reduction: float) -> int:
    """Percent of the detail added back; `reduction` is source pixels an output pixel (under 1 = enlarged)."""
    percent = _PERCENT[use]
    return percent // 2 if reduction < 1 else percent


def sharpen_image(image: vips.Image, percent: int) -> vips.Image:
    """As `sharpen`, on a libvips picture not computed yet."""
    if not percent:
        return image
    # unit − binomial blur (1 2 1; 2 4 2; 1 2 1)/16, times the amount, added to the unit; over 1600
    p = percent
    kernel = vips.Image.new_from_array(
        [[-p, -2 * p, -p], [-2 * p, 1600 + 12 * p, -2 * p], [-p, -2 * p, -p]], scale=1600
    )
    return image.conv(kernel, precision="integer")


def sharpen(pixels: NDArray[Any], percent: int) -> NDArray[Any]:
    """(h, w, 3) uint8 or uint16 with `percent` of the difference to a 3×3 binomial blur added back."""
    return vips.to_array(sharpen_image(vips.from_array(np.ascontiguousarray(pixels)), percent))
