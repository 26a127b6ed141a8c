"""The strip with the subject's name along the foot of a print, set in a free font.

The name takes as much of the strip as looks right, shrinks when it is long, and never leaves the strip.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.drawing.lettering import text_mask, writable
from galleries.imaging.errors import ImagingError

INK_SHARE = 0.5  # of the strip's height, ascenders and descenders included
SIDE_SHARE = 0.04  # of the strip's width kept free on both sides
LEAST_INK = 6  # pixels: a name set smaller can't be read in print
_OVERSAMPLE = 2  # set larger, then brought down, so that every size comes out smooth

Box = tuple[int, int, int, int]


def strip_box(width: int, height: int, height_px: int, *, inset: int = 0, foot: int = 0) -> Box:
    """(x, y, width, height) of the strip in a picture: `inset` free at both sides, `foot` below it.

    Raises ImagingError when it would not lie inside.
    """
    box = (inset, height - foot - height_px, width - 2 * inset, height_px)
    if height_px < 1 or box[1] < 0 or box[2] < 1 or inset < 0 or foot < 0:
        raise ImagingError(Code.STRIP_NO_ROOM, strip_px=height_px, width_px=width, height_px=height)
    return box


def draw_name_strip(
    rgb: Pixels,
    name: str,
    height_px: int,
    *,
    inset: int = 0,
    foot: int = 0,
    paper: float = 1.0,
    ink: float = 0.07,
) -> Pixels:
    """A copy of the picture, (h, w, 3) uint8 or uint16, with the strip and the name in its middle.

    `paper` and `ink` are grey values, 0 black to 1 white, in the picture's own profile. Raises ImagingError
    when the strip does not fit, the name is empty or holds a character no font here can draw, or the name
    would come out smaller than LEAST_INK pixels.
    """
    flat = " ".join(name.split())
    missing = sorted(set(flat) - set(writable(flat)) - {" "})
    if missing:
        raise ImagingError(Code.STRIP_NO_LETTERS, letters=", ".join(missing), name=flat)
    if not flat:
        raise ImagingError(Code.STRIP_EMPTY)
    top = float(np.iinfo(rgb.dtype).max)
    x, y, width, height = strip_box(rgb.shape[1], rgb.shape[0], height_px, inset=inset, foot=foot)
    alpha = fitted(flat, int(width * (1 - 2 * SIDE_SHARE)), max(1, round(height * INK_SHARE)))
    out = rgb.copy()
    band = np.full((height, width), paper, np.float32)
    left, up = (width - alpha.shape[1]) // 2, (height - alpha.shape[0]) // 2
    part = band[up : up + alpha.shape[0], left : left + alpha.shape[1]]
    part += (ink - paper) * alpha
    out[y : y + height, x : x + width] = np.round(band * top)[..., None].astype(rgb.dtype)
    return out


def fitted(name: str, room_w: int, room_h: int) -> NDArray[np.float32]:
    """Coverage 0..1 of the name set as large as the room allows, cut to its ink; never larger than the room.

    The height is that of a capital with an accent and a descender, so that names with and without them come
    out in the same size. Raises ImagingError when it would be under LEAST_INK pixels high.
    """
    size = room_h * _OVERSAMPLE
    usual = text_mask("ÅÇgp", size).shape[0]
    size = max(4, int(size * room_h * _OVERSAMPLE / usual))
    mask = text_mask(name, size)
    factor = min(1 / _OVERSAMPLE, room_w / mask.shape[1], room_h / mask.shape[0])
    width, height = max(1, int(mask.shape[1] * factor)), max(1, int(mask.shape[0] * factor))
    if height < min(LEAST_INK, room_h):
        raise ImagingError(Code.STRIP_TOO_LONG, name=name, height_px=height)
    small = cv2.resize(mask, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32) / np.float32(255)
