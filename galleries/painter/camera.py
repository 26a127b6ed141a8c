"""Painted frames written the way a camera writes its files: JPEG, EXIF, profile, the picture stored as it was held."""

from __future__ import annotations

import io
import struct
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms

from .noise import rng_for
from .plan import PlannedFrame, SittingPlan

MAKE, MODEL, LENS = "Lumora", "Lumora Fir 24", "Fir 85mm F1.8"  # a camera nobody makes
QUALITY = 90

# The wide-gamut space cameras offer beside sRGB: colorants under D50 and gamma as its published
# specification gives them (Adobe RGB (1998) Color Image Encoding, version 2005-05, rounded as in its profile).
_COLORANTS = (("rXYZ", (0.60974, 0.31111, 0.01947)), ("gXYZ", (0.20528, 0.62567, 0.06087)),
              ("bXYZ", (0.14919, 0.06322, 0.74457)))  # fmt: skip
_GAMMA = 563.0 / 256.0
WIDE_NAME = "Painted wide RGB"


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


@lru_cache(maxsize=1)
def wide_profile() -> bytes:
    """A version 2 matrix profile of the wide-gamut space (ICC.1:2001-04, clauses 6.1 and 6.4)."""
    white = (0.9642, 1.0, 0.8249)
    text = WIDE_NAME.encode("ascii") + b"\0"
    description = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)
    tags: list[tuple[bytes, bytes]] = [
        (b"desc", description),
        (b"cprt", b"text\0\0\0\0No rights reserved\0"),
        (b"wtpt", b"XYZ \0\0\0\0" + b"".join(map(_fixed, white))),
        *((name.encode(), b"XYZ \0\0\0\0" + b"".join(map(_fixed, xyz))) for name, xyz in _COLORANTS),
        *((name, b"curv\0\0\0\0" + struct.pack(">IH", 1, round(_GAMMA * 256))) for name in (b"rTRC", b"gTRC", b"bTRC")),
    ]
    offset, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for name, data in tags:
        table += name + struct.pack(">II", offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    size = offset + len(body)
    header = struct.pack(">I4sI4s4s4s6H4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ",
                         2025, 1, 1, 0, 0, 0, b"acsp")  # fmt: skip
    header += bytes(28) + b"".join(map(_fixed, white))
    header += bytes(128 - len(header))
    return header + struct.pack(">I", len(tags)) + table + body


@lru_cache(maxsize=1)
def srgb_profile() -> bytes:
    profile = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    profile[24:36] = struct.pack(">6H", 2025, 1, 1, 0, 0, 0)  # its date, or no two runs would write the same file
    return bytes(profile)


def to_wide(upright: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """sRGB pixels as pixels of the wide-gamut space."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(srgb_profile()))
    target = ImageCms.ImageCmsProfile(io.BytesIO(wide_profile()))
    turned = ImageCms.profileToProfile(Image.fromarray(upright), source, target, ImageCms.Intent.RELATIVE_COLORIMETRIC)
    return np.asarray(turned)


def stored(upright: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """The picture as it lies in a file with the given EXIF orientation (1, 6 or 8)."""
    turns = {1: 0, 6: 1, 8: -1}[orientation]
    return np.ascontiguousarray(np.rot90(upright, turns))


def _exif(plan: SittingPlan, frame: PlannedFrame, width: int, height: int) -> Image.Exif:
    look = plan.look(frame.look)
    exif = Image.Exif()
    stamp = frame.captured_at.strftime("%Y:%m:%d %H:%M:%S")
    base, tags = ExifTags.Base, exif.get_ifd(ExifTags.IFD.Exif)
    exif[base.Make], exif[base.Model], exif[base.Software] = MAKE, MODEL, "Fir firmware 1.4"
    exif[base.Orientation], exif[base.DateTime] = frame.orientation, stamp
    exif[base.XResolution] = exif[base.YResolution] = 300.0
    exif[base.ResolutionUnit] = 2
    tags[base.ExifVersion] = b"0232"
    tags[base.DateTimeOriginal] = tags[base.DateTimeDigitized] = stamp
    fraction = f"{frame.captured_at.microsecond // 1000:03d}"
    tags[base.SubsecTimeOriginal] = tags[base.SubsecTimeDigitized] = tags[base.SubsecTime] = fraction
    tags[base.OffsetTimeOriginal] = "+01:00"
    tags[base.ExposureTime], tags[base.FNumber], tags[base.ISOSpeedRatings] = 1 / 160, 5.6, 100
    tags[base.FocalLength], tags[base.LensModel] = 85.0, LENS
    tags[base.ColorSpace] = 0xFFFF if look.adobe else 1
    tags[base.ExifImageWidth], tags[base.ExifImageHeight] = width, height
    tags[base.ImageNumber] = frame.number
    if frame.located:
        owner = rng_for(plan.seed, 91)
        tags[base.BodySerialNumber] = f"{int(owner.integers(10**7, 10**8))}"
        tags[base.CameraOwnerName] = "Studio camera 2"
        tags[base.MakerNote] = b"FIRNOTE\0" + owner.bytes(480)
        place = exif.get_ifd(ExifTags.IFD.GPSInfo)
        gps = ExifTags.GPS
        place[gps.GPSLatitudeRef], place[gps.GPSLatitude] = "N", (0.0, 12.0, 30.0)  # open sea
        place[gps.GPSLongitudeRef], place[gps.GPSLongitude] = "W", (20.0, 4.0, 15.0)
    return exif


def write_frame(plan: SittingPlan, frame: PlannedFrame, upright: NDArray[np.uint8]) -> bytes:
    """The JPEG file of a painted frame, `upright` as paint_frame gives it (height, width, 3) sRGB uint8."""
    wide = plan.look(frame.look).adobe
    lying = stored(to_wide(upright) if wide else upright, frame.orientation)
    out = io.BytesIO()
    Image.fromarray(lying).save(
        out, "JPEG", quality=QUALITY, subsampling=1 if frame.index % 2 else 2,
        exif=_exif(plan, frame, lying.shape[1], lying.shape[0]), icc_profile=wide_profile() if wide else srgb_profile(),
    )  # fmt: skip
    return out.getvalue()
