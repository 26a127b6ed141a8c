"""Text as an alpha mask, in whatever script a studio's name is written."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

_PLACES = (
    "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf",
    "/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf",
    "/usr/share/fonts/truetype/droid/DroidSansFallbackFull.ttf",
)
_UNASSIGNED = "\U000fffff"
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont


@lru_cache(maxsize=64)
def _fonts(size: int) -> tuple[Font, ...]:
    typefaces: list[Font] = [ImageFont.truetype(place, size) for place in _PLACES if Path(place).is_file()]
    return (*typefaces, ImageFont.load_default(size))


@lru_cache(maxsize=4096)
def _font_index(char: str) -> int | None:
    """The first font that has a shape of its own for `char`; None when none has."""
    if char.isspace():
        return 0
    for index, font in enumerate(_fonts(24)):
        shape, missing = font.getmask(char), font.getmask(_UNASSIGNED)
        if (shape.size, bytes(shape)) != (missing.size, bytes(missing)) and shape.getbbox():
            return index
    return None


def writable(text: str) -> str:
    """`text` on one line, without the characters that no font on this machine can draw."""
    flat = " ".join(text.split())
    return " ".join("".join(c for c in flat if _font_index(c) is not None).split())


def text_mask(text: str, size: int) -> NDArray[np.uint8]:
    """Alpha (height, width) of `text` at `size` pixels, cut to its ink; (1, 1) of zero when there is none."""
    runs: list[tuple[int, str]] = []
    for char in writable(text):
        index = runs[-1][0] if runs and char.isspace() else _font_index(char) or 0
        if runs and runs[-1][0] == index:
            runs[-1] = (index, runs[-1][1] + char)
        else:
            runs.append((index, char))
    fonts = _fonts(max(4, size))
    length = sum(fonts[i].getlength(part) for i, part in runs)
    image = Image.new("L", (int(length) + 2 * size + 2, 3 * size), 0)
    draw, x = ImageDraw.Draw(image), float(size)
    for index, part in runs:
        font = fonts[index]
        if isinstance(font, ImageFont.FreeTypeFont):
            draw.text((x, 2 * size), part, fill=255, font=font, anchor="ls")
        else:
            draw.text((x, size), part, fill=255, font=font)
        x += font.getlength(part)
    box = image.getbbox()
    return np.asarray(image.crop(box) if box else image.crop((0, 0, 1, 1)), dtype=np.uint8)
