"""A studio's logo as ink: one colour, as strong as the drawing stands out from its ground. On pages of neutral greys it
shows without a cast, on dark and on light, and the stamp draws it as it draws letters."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.colour import convert
from galleries.imaging.errors import Unsupported
from galleries.imaging.opening import decode, formats
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.imaging.output import resize

WIDEST, TALLEST = 960, 320
_FAINT = 0.08  # of the strongest ink: less is noise of a compressed file
_LEAST = 24  # code values between drawing and ground, less is no drawing


def make_logo(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> bytes:
    """A PNG in white with the drawing as its alpha, cut to the drawing, at most 960 × 320.

    The ground is the colour along the picture's edge, or transparent parts. Raises as `decode.open_picture`, and
    `Unsupported` where nothing stands out from the ground.
    """
    picture = decode.open_picture(source, limits)
    width, height = resize.fit_within(picture.facts.width, picture.facts.height, 2 * WIDEST)
    rgb = convert.between_profiles(resize.resize_to(picture.pixels, width, height), picture.profile,
                                   convert.srgb_profile(), 8)  # fmt: skip
    ink = _ink(np.asarray(rgb, np.int16))
    rows, columns = np.nonzero(ink.any(axis=1))[0], np.nonzero(ink.any(axis=0))[0]
    ink = ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    factor = min(1.0, WIDEST / ink.shape[1], TALLEST / ink.shape[0])
    size = (max(1, round(ink.shape[1] * factor)), max(1, round(ink.shape[0] * factor)))
    alpha = Image.fromarray(np.asarray(cv2.resize(ink, size, interpolation=cv2.INTER_AREA), np.uint8))
    file = BytesIO()
    Image.merge("LA", (Image.new("L", size, 255), alpha)).save(file, "PNG", optimize=True)
    return file.getvalue()


def _ink(rgb: NDArray[np.int16]) -> NDArray[np.uint8]:
    edge = np.concatenate([rgb[0], rgb[-1], rgb[:, 0], rgb[:, -1]])
    apart = np.abs(rgb - np.median(edge, axis=0)).max(axis=2).astype(np.float32)
    strongest = float(apart.max())
    if strongest < _LEAST:
        raise Unsupported(Code.NO_DRAWING)
    part = apart / strongest
    return np.rint(255 * np.clip((part - _FAINT) / (1 - _FAINT), 0, 1)).astype(np.uint8)


def mask_of(logo: bytes) -> NDArray[np.uint8]:
    """The ink of `make_logo`'s file: (height, width), 255 where it is whole."""
    # The opener lays transparent parts on its surround; white ink on it says how much of it there is.
    grey = decode.open_picture(logo).pixels[:, :, 0].astype(np.float32)
    return np.rint(255 * np.clip((grey - formats.SURROUND) / (255 - formats.SURROUND), 0, 1)).astype(np.uint8)
