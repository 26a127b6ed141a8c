"""The few EXIF facts the portal uses, read within bounds and without guessing.

Tags after CIPA DC-008 (Exif 2.32) [std, from memory]. Damaged EXIF never stops a frame from opening: what
cannot be read is simply absent.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime, timedelta

from galleries.imaging.arrays import Bytes

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 13: 4}
_MOST_ENTRIES = 500
_ORIENTATION, _MAKE, _MODEL = 0x0112, 0x010F, 0x0110
_EXIF_IFD, _INTEROP_IFD, _INTEROP_INDEX = 0x8769, 0xA005, 0x0001
_TAKEN, _SUBSEC, _COLORSPACE, _IMAGE_NUMBER = 0x9003, 0x9291, 0xA001, 0x9211

Value = int | str


@dataclass(frozen=True)
class ExifFacts:
    """orientation 1..8 (1 when absent or out of range); captured_at is the camera's own naive clock
    (DateTimeOriginal alone: DateTime is when the file was last changed)."""

    orientation: int = 1
    captured_at: datetime | None = None
    camera: str = ""
    frame_number: int | None = None
    colour: str = ""  # "sRGB", "Adobe RGB" or "" for unsaid


def _value(data: Bytes, order: str, entry: int) -> Value | None:
    kind, count = struct.unpack_from(order + "HI", data, entry + 2)
    size = _SIZES.get(kind, 0) * count
    if not size or size > 4096:
        return None
    start = entry + 8 if size <= 4 else struct.unpack_from(order + "I", data, entry + 8)[0]
    raw = data[start : start + size]
    if len(raw) < size:
        return None
    if kind == 2:
        return raw.split(b"\0", 1)[0].decode("utf-8", "replace").strip()
    if kind in (3, 4, 13):
        return int(struct.unpack_from(order + ("H" if kind == 3 else "I"), raw)[0])
    return None


def _directory(data: Bytes, order: str, start: Value | None) -> dict[int, Value]:
    tags: dict[int, Value] = {}
    if not isinstance(start, int) or start < 8 or start + 2 > len(data):
        return tags
    (count,) = struct.unpack_from(order + "H", data, start)
    for index in range(min(count, _MOST_ENTRIES)):
        entry = start + 2 + 12 * index
        if entry + 12 > len(data):
            break
        (tag,) = struct.unpack_from(order + "H", data, entry)
        value = _value(data, order, entry)
        if value is not None:
            tags[tag] = value
    return tags


def _moment(text: Value | None, subsec: Value | None) -> datetime | None:
    try:
        moment = datetime.strptime(str(text)[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    digits = str(subsec or "").strip()
    if digits.isascii() and digits.isdigit():
        moment += timedelta(microseconds=int(float("0." + digits[:9]) * 1_000_000))
    return moment


def read_exif(data: Bytes) -> ExifFacts:
    """Facts of an EXIF block: a TIFF structure, with or without its leading 'Exif\\0\\0'. Never raises."""
    data, order, main = _first(data)
    if not order:
        return ExifFacts()
    detail = _directory(data, order, main.get(_EXIF_IFD))
    return _facts(main, detail, _directory(data, order, detail.get(_INTEROP_IFD)))


def read_exif_apart(first: Bytes, detail: Bytes) -> ExifFacts:
    """As `read_exif`, where the first directory and the detail are TIFF structures of their own. Never raises."""
    return _facts(_first(first)[2], _first(detail)[2], {})


def _first(data: Bytes) -> tuple[Bytes, str, dict[int, Value]]:
    """The TIFF structure, its order of bytes ("" when it is none), and its first directory."""
    if data[:6] == b"Exif\0\0":
        data = data[6:]
    order = {b"II": "<", b"MM": ">"}.get(data[:2], "")
    if not order or len(data) < 8:
        return data, "", {}
    return data, order, _directory(data, order, struct.unpack_from(order + "I", data, 4)[0])


def _facts(main: dict[int, Value], detail: dict[int, Value], interop: dict[int, Value]) -> ExifFacts:
    orientation = main.get(_ORIENTATION, 1)
    make, model = str(main.get(_MAKE, "")), str(main.get(_MODEL, ""))
    camera = model if model.lower().startswith(make.lower()) else f"{make} {model}"
    number = detail.get(_IMAGE_NUMBER, main.get(_IMAGE_NUMBER))
    space = detail.get(_COLORSPACE)
    adobe = interop.get(_INTEROP_INDEX) == "R03" or space == 2
    return ExifFacts(
        orientation=orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
        captured_at=_moment(detail.get(_TAKEN), detail.get(_SUBSEC)),
        camera=camera.strip(),
        frame_number=number if isinstance(number, int) else None,
        colour="Adobe RGB" if adobe else "sRGB" if space == 1 else "",
    )
