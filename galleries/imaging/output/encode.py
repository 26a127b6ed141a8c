"""Pixels to file bytes, always the same bytes for the same pixels, settings and library versions.

The byte cap is met by a secant search on logarithms: log(bytes) is close to a straight line over log(strength
of quantisation), so two trials nearly always point at the answer.
"""

from __future__ import annotations

import hashlib
import io
import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.colour import convert
from galleries.imaging.colour.planes import Plane, Planes
from galleries.imaging.containers import jpeg, vips
from galleries.imaging.errors import DoesNotFit
from galleries.imaging.output import resize
from galleries.told import Told, Value, told

Pixels8 = NDArray[np.uint8]

START_QUALITY = 85
FLOOR_QUALITY = 50
CLOSE_ENOUGH = 0.93  # a file over this share of its cap is not tried at a higher quality


@dataclass(frozen=True)
class Encoded:
    """File bytes, their SHA-256 in hex, the quality (0 for TIFF) and how many encodes it took."""

    data: bytes
    sha256: str
    quality: int
    encodes: int


def subsampling_for(use: str, width: int, height: int) -> str:
    """Chroma subsampling by use and size.

    Print keeps every colour sample (4:4:4): red lips and fine coloured edges show at reading distance.
    So do files under 1,000,000 pixels, where half resolution of colour is visible at normal zoom. Larger
    screen files take 4:2:0: the eye's colour acuity is about half its acuity for light, and at the same
    bytes the freed bits buy a higher quality of the light channel.
    """
    return "444" if use in ("print", "full") or width * height < 1_000_000 else "420"


def encode_jpeg(
    rgb: Pixels8,
    *,
    quality: int,
    progressive: bool = False,
    subsampling: str = "420",
    ppi: int = 72,
    icc: bytes | None = None,
) -> bytes:
    """A JPEG of (h, w, 3) uint8 pixels with a JFIF density of `ppi` and a profile (None = sRGB).

    subsampling: "444", "422" or "420". Plain files come from libjpeg-turbo directly, progressive ones, whose Huffman
    tables are their own, through Pillow (same library); all carry the same tags.
    """
    if progressive:
        out = io.BytesIO()
        Image.fromarray(rgb, "RGB").save(
            out, "JPEG", quality=quality, progressive=progressive, optimize=True,
            subsampling={"444": 0, "422": 1, "420": 2}[subsampling],
        )  # fmt: skip
        data = out.getvalue()
    else:
        data = simplejpeg.encode_jpeg(np.ascontiguousarray(rgb), quality, "RGB", subsampling, False)
    return jpeg.with_tags(data, ppi=ppi, icc=convert.srgb_profile() if icc is None else icc)


def encode_planes(planes: Planes, *, quality: int, ppi: int = 72, icc: bytes | None = None) -> bytes:
    """As `encode_jpeg`, with colour sampled as the planes have it: nothing is converted on the way. Huffman tables of
    its own would save a picture of 480 px 2 to 5 % of its bytes, hardly more than one step of quality does, and cost
    1.4 ms."""
    colour = map(np.ascontiguousarray, (planes.cb, planes.cr))
    data = simplejpeg.encode_jpeg_yuv_planes(_with_its_pad(planes.luma), *colour, quality)
    return jpeg.with_tags(data, ppi=ppi, icc=convert.srgb_profile() if icc is None else icc)


def _with_its_pad(luma: Plane) -> Plane:
    """The same plane, its last row and column repeated in memory where a side is odd: the encoder reads as much of
    light as colour at half stands for, up to a row and a column beyond the picture, and what lies there comes into the
    file."""
    height, width = luma.shape
    if height % 2 == width % 2 == 0:
        return np.ascontiguousarray(luma)
    even = cv2.copyMakeBorder(luma, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
    return np.asarray(even[:height, :width], np.uint8)


def encoded(data: bytes, quality: int = 0, encodes: int = 1) -> Encoded:
    return Encoded(data, hashlib.sha256(data).hexdigest(), quality, encodes)


class _Trials:
    """Encodes on demand and remembers every size."""

    def __init__(self, rgb: Pixels8, options: dict[str, Any]) -> None:
        self.rgb, self.options, self.files = rgb, options, dict[int, bytes]()

    def size(self, quality: int) -> int:
        if quality not in self.files:
            self.files[quality] = encode_jpeg(self.rgb, quality=quality, **self.options)
        return len(self.files[quality])


def encode_within(
    rgb: Pixels8,
    byte_cap: int,
    start: int = START_QUALITY,
    floor: int = FLOOR_QUALITY,
    ceiling: int | None = None,
    **options: Any,
) -> Encoded:
    """The JPEG of the highest quality found that takes at most `byte_cap` bytes; never over.

    Tries `start` first and goes up to `ceiling` (default `start`) or down to `floor`. `options` as for
    `encode_jpeg`. Raises `DoesNotFit`, naming a size in pixels that was tried and does fit.
    """
    if byte_cap < 1:
        raise DoesNotFit(Code.CAP_UNDER_RIGHTS)
    trials = _Trials(rgb, options)
    low, high = floor, max(start, ceiling if ceiling is not None else start)
    best: int | None = None
    quality = start
    # The nearest trial on either side of the cap; the line is laid through one of each as soon as there are both.
    under: tuple[int, float] | None = None
    over: tuple[int, float] | None = None
    while low <= high:
        size = trials.size(quality)
        trial = (quality, math.log(size))
        if size <= byte_cap:
            best, low, other, under = quality, quality + 1, over or under, trial
            if size >= CLOSE_ENOUGH * byte_cap or quality == high:
                break
        else:
            high, other, over = quality - 1, under or over, trial
        guess = _secant(*trial, other, math.log(byte_cap))
        quality = min(max(guess, low), high)
    if best is None:
        raise DoesNotFit.of(_what_would_fit(rgb, byte_cap, floor, trials.size(floor), options))
    return encoded(trials.files[best], best, len(trials.files))


def _strength(quality: int) -> float:
    """Logarithm of how strongly libjpeg scales its quantisation tables at a quality, in percent."""
    return math.log(max(1, 5000 / quality if quality < 50 else 200 - 2 * quality))


def _secant(quality: int, log_size: float, previous: tuple[int, float] | None, target: float) -> int:
    """The quality at which the line through two trials meets the cap, a hair below it."""
    slope = -0.6  # log bytes over log strength: only the first guess relies on it
    if previous and previous[0] != quality:
        run = _strength(quality) - _strength(previous[0])
        slope = min(-0.2, (log_size - previous[1]) / run) if run else slope
    percent = math.exp(min(9.0, _strength(quality) + (target - 0.01 - log_size) / slope))
    return math.floor(5000 / percent if percent > 100 else 100 - percent / 2)


def _what_would_fit(rgb: Pixels8, byte_cap: int, floor: int, size: int, options: dict[str, Any]) -> Told:
    """Smaller pictures are really encoded until one fits."""
    height, width = rgb.shape[:2]
    this: dict[str, Value] = {"quality": floor, "width_px": width, "height_px": height}
    this |= {"size_bytes": size, "cap_bytes": byte_cap}
    overhead = len(encode_jpeg(rgb[:16, :16], quality=floor, **options))
    if overhead >= byte_cap:
        return told(Code.CAP_UNDER_TAGS, **this, tags_bytes=overhead)
    factor, new = 1.0, (width, height)
    while min(new) > 16:
        factor *= min(0.95, math.sqrt(max(1, byte_cap - overhead) / max(1, size - overhead)))
        new = (max(1, round(width * factor)), max(1, round(height * factor)))
        size = len(encode_jpeg(resize.resize_to(rgb, *new), quality=floor, **options))
        if size <= byte_cap:
            return told(Code.CAP_WOULD_FIT, **this, fits_width_px=new[0], fits_height_px=new[1])
    return told(Code.CAP_NOTHING_FITS, **this)


def encode_tiff(pixels: NDArray[Any], *, ppi: int, icc: bytes | None = None) -> bytes:
    """A TIFF of (h, w, 3) uint8 or uint16 pixels, losslessly deflated, with its ppi and profile."""
    image = vips.from_array(pixels).copy(xres=ppi / 25.4, yres=ppi / 25.4)
    image.set_type(vips.BLOB, "icc-profile-data", convert.srgb_profile() if icc is None else icc)
    data: bytes = image.tiffsave_buffer(compression="deflate", predictor="horizontal", resunit="inch", keep="icc")
    return data
