"""Raw files as a camera writes them: DNG after Adobe's published specification (1.4.0.0, on TIFF 6.0 and TIFF/EP),
laid by hand; tag numbers from memory, read back by ExifTool in `opening/test_raw.py`.

The first directory is the small preview that the specification asks for (NewSubFileType 1), its SubIFDs are the
sensor's picture (NewSubFileType 0, CFA) and, if any, a JPEG of its own size (NewSubFileType 1).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

from tests.imaging.core_pictures import saved

BYTE, ASCII, SHORT, LONG, RATIONAL, SRATIONAL = 1, 2, 3, 4, 5, 10
_LETTERS = {BYTE: "B", SHORT: "H", LONG: "I"}
Entry = tuple[int, int, Any]

# XYZ (D65) to a camera whose own primaries are sRGB's: IEC 61966-2-1, inverse matrix, to four places.
_SRGB_FROM_XYZ = (3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570)


@dataclass(frozen=True)
class Negative:
    """What is to be written. `scene`: linear light 0..1 (h, w, 3) as the sensor sees it, lying as it is stored."""

    scene: np.ndarray
    preview: bytes = b""  # what the second SubIFD holds
    preview_size: tuple[int, int] = (0, 0)  # what it says the preview's size is
    preview_space: int = 2  # PreviewColorSpace: 2 sRGB, 3 Adobe RGB
    orientation: int = 1
    neutral: tuple[float, float, float] = (0.5, 1.0, 0.625)  # AsShotNeutral: a grey card in the camera's values
    make: str = "Nordlicht"
    model: str = "Nordlicht 24"
    taken: str = "2026:03:14 10:11:12"
    subsec: str = ""
    white: int = 16383
    claims: tuple[int, int] = (0, 0)  # another size than the sensor's data have
    active: tuple[int, int, int, int] | None = None  # ActiveArea: top, left, bottom, right
    dng: bool = True  # False: TIFF/EP without DNG's own tags, as cameras' own kinds are
    extra: tuple[Entry, ...] = field(default=())


def scene(width: int = 96, height: int = 64) -> np.ndarray:
    """Four flat quarters, linear: red above left, green above right, blue below left, a mid grey below right."""
    out = np.zeros((height, width, 3))
    out[: height // 2, : width // 2] = (0.5, 0.05, 0.05)
    out[: height // 2, width // 2 :] = (0.05, 0.5, 0.05)
    out[height // 2 :, : width // 2] = (0.05, 0.05, 0.5)
    out[height // 2 :, width // 2 :] = 0.18
    return out


def mosaic(negative: Negative) -> np.ndarray:
    """The scene through an RGGB filter, each colour dimmed as `neutral` says."""
    height, width = negative.scene.shape[:2]
    light = negative.scene * np.asarray(negative.neutral)
    out = np.empty((height, width))
    for row, column, band in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        out[row::2, column::2] = light[row::2, column::2, band]
    return np.rint(out * negative.white).clip(0, negative.white).astype("<u2")


def _packed(kind: int, value: Any) -> tuple[int, bytes]:
    """(count, bytes) of an entry's value."""
    if kind == ASCII:
        text = str(value).encode() + b"\0"
        return len(text), text
    values = value if isinstance(value, tuple | list) else (value,)
    if kind in (RATIONAL, SRATIONAL):
        parts = [Fraction(one).limit_denominator(10_000) for one in values]
        code = "I" if kind == RATIONAL else "i"
        return len(parts), b"".join(struct.pack(f"<2{code}", one.numerator, one.denominator) for one in parts)
    return len(values), struct.pack(f"<{len(values)}{_LETTERS[kind]}", *values)


class _Out:
    """Bytes in the order they are laid; offsets are known as soon as a thing is laid."""

    def __init__(self) -> None:
        self.data = bytearray(b"II*\0" + bytes(4))

    def lay(self, data: bytes) -> int:
        self.data += b"\0" * (len(self.data) % 2)
        at = len(self.data)
        self.data += data
        return at

    def directory(self, entries: list[Entry]) -> int:
        rows = []
        for tag, kind, value in sorted(entries, key=lambda entry: entry[0]):
            count, packed = _packed(kind, value)
            place = packed.ljust(4, b"\0") if len(packed) <= 4 else struct.pack("<I", self.lay(packed))
            rows.append(struct.pack("<HHI", tag, kind, count) + place)
        return self.lay(struct.pack("<H", len(rows)) + b"".join(rows) + bytes(4))


def _picture(width: int, height: int, at: int, size: int, **more: Any) -> list[Entry]:
    """The entries that every directory with pixels has: TIFF 6.0, section 4."""
    return [
        (254, LONG, more.get("reduced", 0)), (256, LONG, width), (257, LONG, height),
        (258, SHORT, more["bits"]), (259, SHORT, more["compression"]), (262, SHORT, more["photometric"]),
        (273, LONG, at), (277, SHORT, more["samples"]), (278, LONG, height), (279, LONG, size),
    ]  # fmt: skip


def dng(negative: Negative, sensor: bytes | None = None) -> bytes:
    """The file. `sensor`: its data when they are not to come from the scene."""
    out = _Out()
    height, width = negative.scene.shape[:2]
    wide, high = negative.claims if negative.claims[0] else (width, height)
    data = mosaic(negative).tobytes() if sensor is None else sensor
    thumb = np.full((12, 16, 3), 120, np.uint8).tobytes()
    thumb_at, data_at = out.lay(thumb), out.lay(data)
    levels = [(50714, SHORT, 0), (50717, LONG, negative.white)] if negative.dng else []
    if negative.active:
        levels.append((50829, LONG, negative.active))
    subs = [
        out.directory([
            *_picture(wide, high, data_at, len(data), bits=16, compression=1, photometric=32803, samples=1),
            (33421, SHORT, (2, 2)), (33422, BYTE, (0, 1, 1, 2)), *levels,
        ])
    ]  # fmt: skip
    if negative.preview:
        at = out.lay(negative.preview)
        across, down = negative.preview_size
        kind = {"bits": (8, 8, 8), "compression": 7, "photometric": 6, "samples": 3, "reduced": 1}
        entries = _picture(across, down, at, len(negative.preview), **kind)
        subs.append(out.directory([*entries, *([(50970, LONG, negative.preview_space)] if negative.dng else [])]))
    exif = [(36867, ASCII, negative.taken), *([(37521, ASCII, negative.subsec)] if negative.subsec else [])]
    exif_at = out.directory(exif)
    own = [
        (50706, BYTE, (1, 4, 0, 0)), (50707, BYTE, (1, 1, 0, 0)), (50708, ASCII, negative.model),
        (50721, SRATIONAL, _SRGB_FROM_XYZ), (50778, SHORT, 21), (50728, RATIONAL, negative.neutral),
    ]  # fmt: skip
    small = _picture(16, 12, thumb_at, len(thumb), reduced=1, bits=(8, 8, 8), compression=1, photometric=2, samples=3)
    first = out.directory([
        *small, (271, ASCII, negative.make), (272, ASCII, negative.model), (274, SHORT, negative.orientation),
        (330, LONG, tuple(subs)), (34665, LONG, exif_at), *(own if negative.dng else []), *negative.extra,
    ])  # fmt: skip
    struct.pack_into("<I", out.data, 4, first)
    return bytes(out.data)


def block(width: int, height: int) -> np.ndarray:
    """The same four quarters, as displayed colours."""
    out = np.zeros((height, width, 3), np.uint8)
    out[: height // 2, : width // 2] = (220, 30, 30)
    out[: height // 2, width // 2 :] = (30, 220, 30)
    out[height // 2 :, : width // 2] = (30, 30, 220)
    out[height // 2 :, width // 2 :] = 118
    return out


def with_preview(width: int = 2048, height: int = 1366, *, icc: bytes = b"", **how: Any) -> bytes:
    """A raw whose camera wrote a large picture of its own."""
    preview = saved(block(width, height), quality=88, **({"icc_profile": icc} if icc else {}))
    return dng(Negative(scene(), preview=preview, preview_size=(width, height), **how))


def seeds() -> dict[str, bytes]:
    """Small sound files to start fuzzing from: the sensor's picture alone, with a picture that is too small to be
    shown, with a small file's worth of a large one, and as a kind without DNG's own tags."""
    flat = saved(np.full((16, 2048, 3), 90, np.uint8), quality=30)
    small = {"preview": saved(block(64, 48)), "preview_size": (64, 48)}
    return {
        "dng": dng(Negative(scene(32, 24), orientation=6, subsec="25")),
        "dng-small-preview": dng(Negative(scene(32, 24), **small)),
        "dng-preview": dng(Negative(scene(32, 24), preview=flat, preview_size=(2048, 16))),
        "nef-like": dng(Negative(scene(32, 24), make="NIKON CORPORATION", dng=False)),
    }
