"""The white border of a print and the strip with the name at its foot (sizes and look: common practice, no source).

Both are drawn over a finished picture in its own profile: full value is white in any RGB profile. A long name
shrinks until it fits; it never overflows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.drawing.name_strip import draw_name_strip
from galleries.imaging.errors import ImagingError
from galleries.imaging.framing.cut_order import CutOrder, Finish
from galleries.imaging.framing.sizes import SizeSpec
from galleries.told import Told

STRIP = 0.055  # of the trim height, above the border


def strip_height(size: SizeSpec) -> int:
    """Pixels of the strip itself; 0 without one."""
    return round(STRIP * size.height) if size.name_strip else 0


def insets(size: SizeSpec) -> tuple[int, int, int, int]:
    """Pixels covered at left, top, right and bottom of the delivered file."""
    if not size.border and not size.name_strip:
        return (0, 0, 0, 0)
    low, high = size.bleed_px // 2, size.bleed_px - size.bleed_px // 2
    side = size.border
    if not side:
        return (0, 0, 0, strip_height(size) + high)
    return (side + low, side + low, side + high, side + high + strip_height(size))


def border_and_name(name: str) -> Finish:
    """The `finish` of `recipes.make_finals` that draws what the size asks for."""

    def finish(pixels: NDArray[Any], order: CutOrder) -> NDArray[Any]:
        return draw(pixels, order.size, name)

    return finish


def name_problem(size: SizeSpec, name: str) -> Told | None:
    """Why this name cannot be set in the size's strip; None when it can, or there is no strip."""
    if not strip_height(size):
        return None
    try:
        draw(np.zeros((size.out_height, size.out_width, 3), np.uint8), size, name)
    except ImagingError as error:
        return error.told
    return None


def draw(pixels: NDArray[Any], size: SizeSpec, name: str, scale: float = 1.0) -> NDArray[Any]:
    """The picture (h, w, 3) with border and name; itself where the size has neither. `scale` for previews.

    Raises `ImagingError` when the name cannot be set (no font has its letters, or it is far too long).
    """
    left, top, right, bottom = (round(scale * n) for n in insets(size))
    if not (left or top or right or bottom):
        return pixels
    white = np.iinfo(pixels.dtype).max
    out = pixels.copy()
    h, w = out.shape[:2]
    out[:top], out[h - bottom :], out[:, :left], out[:, w - right :] = white, white, white, white
    high = round(scale * strip_height(size))
    if high < 1 or not name.strip():
        return out
    return draw_name_strip(out, name, high, inset=max(left, right), foot=bottom - high)
