"""The white border of a print and the strip with the name at its foot (sizes and look: common practice, no source).

Both are drawn over a finished picture in its own profile: full value and zero are white and black in any RGB
profile. A long name shrinks until it fits; it never overflows.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.lettering import text_mask, writable
from galleries.imaging.recipes import CutOrder, Finish
from galleries.imaging.sizes import SizeSpec

STRIP = 0.055  # of the trim height, above the border
LETTERS = 0.52  # of the strip's height, capital letters
WIDEST = 0.92  # of the strip's width


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


def draw(pixels: NDArray[Any], size: SizeSpec, name: str, scale: float = 1.0) -> NDArray[Any]:
    """The picture (h, w, 3) with border and name; itself where the size has neither. `scale` for previews."""
    left, top, right, bottom = (round(scale * n) for n in insets(size))
    if not (left or top or right or bottom):
        return pixels
    white = np.iinfo(pixels.dtype).max
    out = pixels.copy()
    h, w = out.shape[:2]
    out[:top], out[h - bottom :], out[:, :left], out[:, w - right :] = white, white, white, white
    if size.name_strip and writable(name):
        high = round(scale * strip_height(size))
        foot = h - bottom
        _write(out[foot : foot + high, left : w - right], name, white)
    return out


def _write(strip: NDArray[Any], name: str, white: int) -> None:
    """Black letters in the middle of the strip."""
    h, w = strip.shape[:2]
    if h < 6 or w < 20:
        return
    capital = text_mask("H", 200).shape[0] / 200
    size = max(4, round(LETTERS * h / capital))
    ink = text_mask(name, size)
    fit = min(1.0, WIDEST * w / ink.shape[1], 0.96 * h / ink.shape[0])
    if fit < 1:
        ink = text_mask(name, max(4, int(size * fit)))
    fit = min(1.0, WIDEST * w / ink.shape[1], 0.96 * h / ink.shape[0])
    if fit < 1:  # the smallest letters are still too wide: squeeze the drawing itself
        room = (max(1, int(ink.shape[1] * fit)), max(1, int(ink.shape[0] * fit)))
        ink = np.asarray(cv2.resize(ink, room, interpolation=cv2.INTER_AREA), np.uint8)
    y, x = (h - ink.shape[0]) // 2, (w - ink.shape[1]) // 2
    paper = np.float64(white) * (1 - ink.astype(np.float64) / 255)
    strip[y : y + ink.shape[0], x : x + ink.shape[1]] = np.rint(paper)[:, :, None].astype(strip.dtype)
