"""What a delivery size is. The sizes themselves are data (galleries/data/sizes.json), each with its source.

Rounding rule: a side is rounded once, bleed included: out = width + round(2 × bleed), half up. One eighth
of an inch at 300 ppi is 37.5 px a side, so 8 × 10 in is 2475 × 3075 with bleed; 3 mm is 35.43 px, so A4 is
2551 × 3579. Byte caps count 1 MB as 1,000,000 bytes, the smaller of the two readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadCrop
from galleries.imaging.framing.geometry import Ratio

USES = ("print", "casting", "web", "full")
FILE_FORMATS = ("JPEG", "TIFF")


@dataclass(frozen=True)
class SizeSpec:
    """One delivery size.

    width × height are the trim size in pixels without bleed; 0 × 0 is the full frame, not resized. `bleed`
    is in pixels a side and may be a fraction (see the rounding rule above); `border` and `safe` are whole
    pixels a side inside the trim. `byte_cap` 0 means none; `min_ppi` 0 means no warning. `source_kind` says what
    `source` is: std (a standard), arithmetic, trade (common practice) or studio. Raises `BadCrop` for a size that
    contradicts itself.
    """

    slug: str
    title: str
    use: str
    width: int
    height: int
    ppi: int = 300
    bleed: float = 0
    border: int = 0
    safe: int = 0
    byte_cap: int = 0
    file_format: str = "JPEG"
    bits: int = 8
    profile: str = "sRGB"
    min_ppi: int = 0
    name_strip: bool = False
    quality: int = 92
    source: str = ""
    source_kind: str = "trade"
    checked: str = ""

    def __post_init__(self) -> None:
        size = self.slug
        if self.use not in USES:
            raise BadCrop(Code.SIZE_USE, size=size, use=self.use, known=", ".join(USES))
        if self.file_format not in FILE_FORMATS:
            raise BadCrop(Code.SIZE_FORMAT, size=size, format=self.file_format, known=", ".join(FILE_FORMATS))
        if self.bits not in (8, 16) or (self.bits == 16 and self.file_format != "TIFF"):
            raise BadCrop(Code.SIZE_BITS, size=size, bits=self.bits, format=self.file_format)
        if min(self.width, self.height) < 0 or (self.width == 0) != (self.height == 0):
            raise BadCrop(Code.SIZE_SIDES, size=size, width_px=self.width, height_px=self.height)
        if not 1 <= self.quality <= 100 or self.ppi < 1:
            raise BadCrop(Code.SIZE_QUALITY, size=size)
        if min(self.bleed, self.border, self.safe, self.byte_cap, self.min_ppi) < 0:
            raise BadCrop(Code.SIZE_NEGATIVE, size=size)
        if self.width and 2 * (self.border + self.safe) >= min(self.width, self.height):
            raise BadCrop(Code.SIZE_NOTHING_LEFT, size=size, width_px=self.width, height_px=self.height)

    @property
    def full_frame(self) -> bool:
        return self.width == 0

    @property
    def bleed_px(self) -> int:
        """Pixels the bleed adds to each axis in all, both sides together."""
        return math.floor(2 * self.bleed + 0.5)

    @property
    def out_width(self) -> int:
        """Pixels of the delivered file, bleed included; 0 for the full frame."""
        return self.width + self.bleed_px if self.width else 0

    @property
    def out_height(self) -> int:
        return self.height + self.bleed_px if self.height else 0

    @property
    def ratio(self) -> Ratio | None:
        """The crop's shape, bleed included; None for the full frame, which is not cropped."""
        return Ratio(self.out_width, self.out_height) if self.width else None
