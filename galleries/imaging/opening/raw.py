"""Raw files of cameras by LibRaw: the camera's own picture inside, or one developed from the sensor's data.

The camera's picture is taken when it is large enough to judge a face by; else the sensor's, in the camera's white
balance, without any brightening of its own. A DNG tells by its directories where its pictures stand: of one that
holds a large JPEG nothing else is read, and LibRaw is not asked. LibRaw holds the very bytes it is given: one copy.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import BinaryIO, cast

import numpy as np
import rawpy

from galleries.imaging.arrays import Bytes, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.containers import jpeg, raw, tiff
from galleries.imaging.errors import ImagingError, TooLarge, Unreadable, Unsupported

LEAST_EMBEDDED = 2048  # long side of the camera's picture, in pixels
_ORIENTATION = (1, 2, 4, 3, 5, 8, 6, 7)  # LibRaw's flip 0 to 7 as EXIF orientation
_SRGB_CURVE = (2.4, 12.92)  # IEC 61966-2-1: exponent and slope of the toe


@dataclass(frozen=True)
class Sensor:
    """What is known without developing: the sensor's picture as stored, how to turn it, the camera's picture if it
    is large enough (b"" else), how to turn that, and the colours a DNG says it has."""

    width: int
    height: int
    orientation: int
    embedded: bytes = b""
    embedded_orientation: int = 1
    embedded_space: str = ""


class _Held:
    """Bytes as the file LibRaw reads: handed over as they are, a mapped file once read."""

    def __init__(self, data: Bytes) -> None:
        self._data = data

    def read(self) -> bytes:
        return self._data[:]


@contextmanager
def _opened(data: Bytes, kind: str) -> Iterator[rawpy.RawPy]:
    file = rawpy.RawPy()
    try:
        file.open_buffer(cast("BinaryIO", _Held(data)))  # read() is all it asks of a file
        yield file
    except (rawpy.LibRawUnsufficientMemoryError, rawpy.LibRawTooBigError) as error:
        raise TooLarge(Code.NEEDS_MEMORY, kind=kind) from error
    except (rawpy.LibRawFileUnsupportedError, rawpy.NotSupportedError) as error:
        raise Unsupported(Code.RAW_FRAME) from error
    except (rawpy.LibRawError, ValueError, UnicodeDecodeError) as error:
        raise Unreadable(Code.DATA_DAMAGED, kind=kind) from error
    finally:
        file.close()


def look(data: Bytes, kind: str) -> Sensor:
    """Raises `Unreadable` (cut off, damaged), `Unsupported` (a kind of raw that LibRaw cannot read)."""
    raw.check(data, kind)
    sensor = (_by_directories(data) if kind == "DNG" else None) or _by_libraw(data, kind)
    picture, orientation, width, height = sensor.embedded, sensor.orientation, sensor.width, sensor.height
    if not picture:
        return sensor
    parts = jpeg.read_parts(picture)
    turned = orientation >= 5 and (parts.width > parts.height) != (width > height)  # it lies upright already
    space = tiff.preview_space(data, parts.width, parts.height) if kind == "DNG" else ""
    return Sensor(width, height, orientation, picture, 1 if turned else orientation, space)


def _by_directories(data: Bytes) -> Sensor | None:
    """None where no JPEG of the size wanted stands where the directories of a DNG say."""
    negative = tiff.negative(data)
    if negative is None:
        return None
    pictures = [picture for at, size in negative.jpegs if (picture := _large(data[at : at + size]))]
    picture = max(pictures, key=len, default=b"")
    return Sensor(negative.width, negative.height, negative.orientation, picture) if picture else None


def _by_libraw(data: Bytes, kind: str) -> Sensor:
    with _opened(data, kind) as file:
        sizes = file.sizes
        return Sensor(sizes.width, sizes.height, _ORIENTATION[sizes.flip & 7], _embedded(file))


def _embedded(file: rawpy.RawPy) -> bytes:
    """The largest JPEG inside, as it is; b"" when there is none, it is no JPEG, or it is too small."""
    try:
        thumb = file.extract_thumb()
    except (rawpy.LibRawError, rawpy.NotSupportedError, ValueError):
        return b""
    if thumb.format != rawpy.ThumbFormat.JPEG or not isinstance(thumb.data, bytes):
        return b""
    return _large(thumb.data)


def _large(picture: bytes) -> bytes:
    """The JPEG, or b"" when it is none or too small."""
    try:
        parts = jpeg.read_parts(picture)
    except (ImagingError, struct.error):
        return b""
    return picture if max(parts.width, parts.height) >= LEAST_EMBEDDED else b""


def develop(data: Bytes, kind: str, *, half: bool) -> Pixels:
    """The sensor's picture as stored, sRGB (h, w, 3) of 8 bits; `half`: one pixel of each four.

    Raises as `look`, and `TooLarge` when LibRaw lacks memory.
    """
    with _opened(data, kind) as file:
        pixels = file.postprocess(
            half_size=half, use_camera_wb=True, no_auto_bright=True, gamma=_SRGB_CURVE, user_flip=0,
            output_color=rawpy.ColorSpace.sRGB, output_bps=8,
        )  # fmt: skip
    if pixels.ndim == 2 or pixels.shape[2] == 1:
        pixels = np.repeat(pixels.reshape(*pixels.shape[:2], 1), 3, axis=2)
    if pixels.shape[2] != 3:
        raise Unsupported(Code.RAW_FRAME)
    return np.ascontiguousarray(pixels)
