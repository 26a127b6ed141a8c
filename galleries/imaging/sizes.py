"""Delivery sizes as data: each with its source, the mark of that source and the date it was last checked.

Rounding rule: a side is rounded once, bleed included: out = width + round(2 × bleed), half up. One eighth
of an inch at 300 ppi is 37.5 px a side, so 8 × 10 in is 2475 × 3075 with bleed; 3 mm is 35.43 px, so A4 is
2551 × 3579. Byte caps count 1 MB as 1,000,000 bytes, the smaller of the two readings.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from galleries.imaging.errors import BadCrop
from galleries.imaging.geometry import Ratio

USES = ("print", "casting", "web", "full")
FILE_FORMATS = ("JPEG", "TIFF")
INCH_BLEED = 37.5  # 1/8 in at 300 ppi
MM3_BLEED = 3 / 25.4 * 300


@dataclass(frozen=True)
class SizeSpec:
    """One delivery size.

    width × height are the trim size in pixels without bleed; 0 × 0 is the full frame, not resized. `bleed`
    is in pixels a side and may be a fraction (see the rounding rule above); `border` and `safe` are whole
    pixels a side inside the trim. `byte_cap` 0 means none; `min_ppi` 0 means no warning. Raises `BadCrop`
    for a size that contradicts itself.
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
    mark: str = "trade"
    checked: str = ""

    def __post_init__(self) -> None:
        where = f"Size '{self.slug}'"
        if self.use not in USES:
            raise BadCrop(f"{where}: use '{self.use}' is none of {', '.join(USES)}.")
        if self.file_format not in FILE_FORMATS:
            raise BadCrop(f"{where}: file format '{self.file_format}' is none of {', '.join(FILE_FORMATS)}.")
        if self.bits not in (8, 16) or (self.bits == 16 and self.file_format != "TIFF"):
            raise BadCrop(f"{where}: {self.bits} bits are not possible in a {self.file_format} file.")
        if min(self.width, self.height) < 0 or (self.width == 0) != (self.height == 0):
            raise BadCrop(f"{where}: {self.width} × {self.height} is no size; give both sides, or 0 × 0.")
        if not 1 <= self.quality <= 100 or self.ppi < 1:
            raise BadCrop(f"{where}: quality must be 1 to 100 and ppi at least 1.")
        if min(self.bleed, self.border, self.safe, self.byte_cap, self.min_ppi) < 0:
            raise BadCrop(f"{where}: bleed, border, safe area, byte cap and least ppi cannot be negative.")
        if self.width and 2 * (self.border + self.safe) >= min(self.width, self.height):
            raise BadCrop(f"{where}: border and safe area leave nothing of {self.width} × {self.height}.")

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


_CHECKED = "2026-11-25"
_ARITHMETIC = "inches × 300 ppi; bleed 1/8 in a side"
_ISO216 = "ISO 216 trim size × 300 ppi; bleed 3 mm a side"
_UPLOAD = "common practice, no source; each site's own page decides"
_WEB = "common practice, no source"


def _print(slug: str, title: str, width: int, height: int, *, mark: str = "arithmetic") -> SizeSpec:
    return SizeSpec(
        slug, title, "print", width, height,
        safe=38, min_ppi=240, quality=95, source=_ARITHMETIC, mark=mark, checked=_CHECKED,
    )  # fmt: skip


def _casting(slug: str, title: str, width: int, height: int, cap: int) -> SizeSpec:
    return SizeSpec(
        slug, title, "casting", width, height,
        ppi=72, byte_cap=cap, quality=90, source=_UPLOAD, checked=_CHECKED,
    )  # fmt: skip


def _web(slug: str, title: str, width: int, height: int) -> SizeSpec:
    return SizeSpec(slug, title, "web", width, height, ppi=72, quality=85, source=_WEB, checked=_CHECKED)


def _iso(slug: str, title: str, width: int, height: int) -> SizeSpec:
    return replace(_print(slug, title, width, height, mark="std"), source=_ISO216)


_PRINTS = (
    _print("print-4x6", "Print 4×6 in", 1200, 1800),
    _print("print-5x7", "Print 5×7 in", 1500, 2100),
    _print("print-8x10", "Headshot print 8×10 in", 2400, 3000, mark="trade"),
    _print("print-11x14", "Print 11×14 in", 3300, 4200),
    _iso("print-a4", "Print A4", 2480, 3508),
    _iso("print-a5", "Print A5", 1748, 2480),
)


def _with_bleed(size: SizeSpec) -> SizeSpec:
    bleed = MM3_BLEED if size.mark == "std" else INCH_BLEED
    return replace(size, slug=f"{size.slug}-bleed", title=f"{size.title}, with bleed", bleed=bleed)


SIZES: tuple[SizeSpec, ...] = (
    *_PRINTS,
    *(_with_bleed(size) for size in _PRINTS),
    replace(
        _PRINTS[2], slug="print-8x10-border", title="Headshot print 8×10 in, border and name",
        border=75, name_strip=True,
    ),
    _casting("casting-4x5", "Casting upload, portrait 4:5", 1200, 1500, 2_000_000),
    _casting("casting-4x5-small", "Casting upload, portrait 4:5, half a megabyte", 1200, 1500, 500_000),
    _casting("casting-5x7", "Casting upload, portrait 5:7", 1000, 1400, 2_000_000),
    _casting("casting-2x3", "Casting upload, portrait 2:3", 1200, 1800, 5_000_000),
    _casting("casting-square", "Casting upload, square", 1080, 1080, 2_000_000),
    _casting("casting-wide", "Casting upload, wide 16:9", 1920, 1080, 10_000_000),
    _web("web-4x5", "Web portrait 4:5", 1080, 1350),
    _web("web-square", "Web square", 1080, 1080),
    _web("web-tall", "Web tall 9:16", 1080, 1920),
    SizeSpec("full", "Full frame", "full", 0, 0, quality=95, source="no crop, native size", checked=_CHECKED),
    SizeSpec(
        "full-tiff", "Full frame, 16-bit TIFF", "full", 0, 0,
        file_format="TIFF", bits=16, source="no crop, native size", checked=_CHECKED,
    ),
)  # fmt: skip

BY_SLUG = {size.slug: size for size in SIZES}


def size_named(slug: str) -> SizeSpec:
    """The size of that slug; raises `BadCrop` with the allowed ones."""
    try:
        return BY_SLUG[slug]
    except KeyError:
        raise BadCrop(f"There is no delivery size '{slug}'; there are {', '.join(BY_SLUG)}.") from None
