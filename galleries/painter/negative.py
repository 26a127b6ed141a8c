"""The raw file that a camera writes beside its JPEG: a DNG, after Adobe's published specification (1.4.0.0, on TIFF 6.0
and TIFF/EP; tag numbers from memory).

Made from the camera's JPEG, which it holds whole as its large preview. The sensor's picture is an eighth of the frame's
sides, a painted sitting being shown and not developed: one value a pixel under a Bayer filter, linear, not packed.
The first directory is a thumbnail (NewSubFileType 1) whose SubIFDs are the sensor's picture and the preview.
"""

from __future__ import annotations

import io
import struct
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import ExifTags, Image, ImageCms

from .camera import srgb_profile

PART = 8  # of the JPEG's sides: the sensor's picture
NEUTRAL = (0.5, 1.0, 0.625)  # what a grey card gives in the camera's own red, green and blue
WHITE = 16383  # of 14 bits
BYTE, ASCII, SHORT, LONG, RATIONAL, SRATIONAL = 1, 2, 3, 4, 5, 10
_LETTERS = {BYTE: "B", SHORT: "H", LONG: "I"}
_RGGB = ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2))  # row, column, colour
# XYZ under D65 to a camera whose primaries are sRGB's own: IEC 61966-2-1, the inverse matrix.
_FROM_XYZ = (3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570)
Entry = tuple[int, int, Any]  # tag, kind, value


def write_negative(jpeg: bytes) -> bytes:
    """The DNG beside a camera's JPEG (as `write_frame` gives it)."""
    with Image.open(io.BytesIO(jpeg)) as picture:
        exif, size = picture.getexif(), picture.size
        picture.draft("RGB", (size[0] // PART, size[1] // PART))
        small = _srgb(picture).resize((size[0] // PART // 2 * 2, size[1] // PART // 2 * 2))
    thumb = small.resize((small.width // 4, small.height // 4)).convert("RGB")
    sensor = _mosaic(np.asarray(small)).tobytes()
    out = _Out()
    thumb_at, sensor_at, jpeg_at = out.lay(thumb.tobytes()), out.lay(sensor), out.lay(jpeg)
    parts = (
        out.directory([
            *_picture(small.size, sensor_at, len(sensor), 0, (16,), 1, 32803),
            (33421, SHORT, (2, 2)), (33422, BYTE, (0, 1, 1, 2)), (50714, SHORT, 0), (50717, LONG, WHITE),
        ]),
        out.directory([*_picture(size, jpeg_at, len(jpeg), 1, (8, 8, 8), 7, 6), (50970, LONG, 2)]),
    )  # fmt: skip
    base, model = ExifTags.Base, str(exif[ExifTags.Base.Model])
    first = out.directory([
        *_picture(thumb.size, thumb_at, thumb.width * thumb.height * 3, 1, (8, 8, 8), 1, 2),
        (271, ASCII, exif[base.Make]), (272, ASCII, model), (274, SHORT, exif[base.Orientation]),
        (330, LONG, parts), (34665, LONG, out.directory(_moment(exif))),
        (50706, BYTE, (1, 4, 0, 0)), (50707, BYTE, (1, 1, 0, 0)), (50708, ASCII, model),
        (50721, SRATIONAL, _FROM_XYZ), (50728, RATIONAL, NEUTRAL), (50778, SHORT, 21),
    ])  # fmt: skip
    struct.pack_into("<I", out.data, 4, first)
    return bytes(out.data)


def _srgb(picture: Image.Image) -> Image.Image:
    inside, srgb = (ImageCms.ImageCmsProfile(io.BytesIO(icc)) for icc in (picture.info["icc_profile"], srgb_profile()))
    turned = ImageCms.profileToProfile(picture, inside, srgb)
    return turned if turned is not None else picture


def _mosaic(srgb: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """(h, w, 3) of display colours as the sensor saw them: light (IEC 61966-2-1), dimmed by colour, one of three."""
    value = srgb.astype(np.float32) / 255
    light = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4) * np.array(NEUTRAL, np.float32)
    out = np.empty(srgb.shape[:2], "<u2")
    for row, column, colour in _RGGB:
        out[row::2, column::2] = np.rint(light[row::2, column::2, colour] * WHITE)
    return out


def _moment(exif: Image.Exif) -> list[Entry]:
    base, detail = ExifTags.Base, exif.get_ifd(ExifTags.IFD.Exif)
    texts = [(tag, ASCII, detail[tag]) for tag in (base.DateTimeOriginal, base.SubsecTimeOriginal)]
    return [*texts, (base.ImageNumber, LONG, detail[base.ImageNumber])]


def _picture(
    size: tuple[int, int], at: int, length: int, reduced: int, bits: tuple[int, ...], compression: int, kind: int
) -> list[Entry]:
    """The entries of every directory with a picture in one strip: TIFF 6.0, section 4."""
    return [
        (254, LONG, reduced), (256, LONG, size[0]), (257, LONG, size[1]), (258, SHORT, bits),
        (259, SHORT, compression), (262, SHORT, kind), (273, LONG, at), (277, SHORT, len(bits)),
        (278, LONG, size[1]), (279, LONG, length),
    ]  # fmt: skip


class _Out:
    """Bytes in the order they are laid, each thing's offset known as soon as it lies."""

    def __init__(self) -> None:
        self.data = bytearray(b"II*\0" + bytes(4))

    def lay(self, data: bytes) -> int:
        self.data += bytes(len(self.data) % 2)
        at = len(self.data)
        self.data += data
        return at

    def directory(self, entries: list[Entry]) -> int:
        rows = b""
        for tag, kind, value in sorted(entries):
            count, packed = _packed(kind, value)
            place = packed.ljust(4, b"\0") if len(packed) <= 4 else struct.pack("<I", self.lay(packed))
            rows += struct.pack("<HHI", tag, kind, count) + place
        return self.lay(struct.pack("<H", len(entries)) + rows + bytes(4))


def _packed(kind: int, value: Any) -> tuple[int, bytes]:
    """(count, bytes) of an entry's value."""
    if kind == ASCII:
        text = str(value).encode() + b"\0"
        return len(text), text
    values = value if isinstance(value, tuple) else (value,)
    if kind in (RATIONAL, SRATIONAL):
        code = "<2I" if kind == RATIONAL else "<2i"
        pairs = [Fraction(one).limit_denominator(10_000) for one in values]
        return len(pairs), b"".join(struct.pack(code, one.numerator, one.denominator) for one in pairs)
    return len(values), struct.pack(f"<{len(values)}{_LETTERS[kind]}", *values)
