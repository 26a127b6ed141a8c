"""Takes everything out of a JPEG, PNG or TIFF that its pixels don't need: an allow-list, never a block-list.

What stays: the coded pixels untouched, their ICC profile, their resolution, and a TIFF's orientation.
Sources: ITU-T T.81 (JPEG), W3C PNG third edition, TIFF 6.0.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported

_JPEG_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # not stuffing, restart or fill
_PNG_KEEP = frozenset(
    {
        b"IHDR",
        b"PLTE",
        b"IDAT",
        b"IEND",
        b"tRNS",
        b"iCCP",
        b"sRGB",
        b"gAMA",
        b"cHRM",
        b"sBIT",
        b"pHYs",
        b"cICP",
    }
)
_TIFF_KEEP = frozenset(
    {
        254,
        256,
        257,
        258,
        259,
        262,
        266,
        273,
        274,
        277,
        278,
        279,
        282,
        283,
        284,
        296,
        317,
        320,
        322,
        323,
        324,
        325,
        338,
        339,
        347,
        530,
        531,
        532,
        34675,
    }
)
_TIFF_UNIT = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}


def kind_of(data: bytes) -> str:
    """'JPEG', 'PNG' or 'TIFF' by content; raises Unsupported for anything else."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] in (b"II*\x00", b"MM\x00*"):
        return "TIFF"
    raise Unsupported(Code.RIGHTS_KIND)


def strip(data: bytes) -> bytes:
    """The same picture with nothing but pixels, profile and resolution; deterministic.

    Raises Unsupported for other formats, Unreadable for a broken container.
    """
    return {"JPEG": _strip_jpeg, "PNG": _strip_png, "TIFF": _strip_tiff}[kind_of(data)](data)


def jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """(marker, whole segment as bytes) of a JPEG, a scan's coded data included; ends after the first EOI."""
    at = 2
    while True:
        while data[at : at + 2] == b"\xff\xff":
            at += 1
        if at + 2 > len(data) or data[at] != 0xFF:
            raise Unreadable(Code.RIGHTS_JPEG_DAMAGED)
        marker = data[at + 1]
        if marker == 0xD9:
            yield marker, data[at : at + 2]
            return
        end = at + 2
        if marker != 0x01:
            if at + 4 > len(data):
                raise Unreadable(Code.RIGHTS_JPEG_DAMAGED)
            end += int.from_bytes(data[at + 2 : at + 4], "big")
            if end < at + 4:  # the length counts its own two bytes
                raise Unreadable(Code.RIGHTS_JPEG_DAMAGED)
        if marker == 0xDA:
            following = _JPEG_MARKER.search(data, end)
            if following is None:
                raise Unreadable(Code.RIGHTS_JPEG_BREAKS)
            end = following.start()
        if end > len(data):
            raise Unreadable(Code.RIGHTS_JPEG_DAMAGED)
        yield marker, data[at:end]
        at = end


def _strip_jpeg(data: bytes) -> bytes:
    out = [data[:2]]
    for marker, segment in jpeg_segments(data):
        body = segment[4:]
        if marker == 0xE0 and body[:5] == b"JFIF\x00" and len(body) >= 14:
            out.append(b"\xff\xe0\x00\x10" + body[:12] + b"\x00\x00")  # without the thumbnail it may hold
        elif marker == 0xE2:
            out += [segment] if body.startswith(b"ICC_PROFILE\x00") else []
        elif marker == 0xEE:
            out += [segment] if body.startswith(b"Adobe") else []  # says how the colours are coded
        elif not (0xE0 <= marker <= 0xEF or marker == 0xFE):
            out.append(segment)
    return b"".join(out)


def _strip_png(data: bytes) -> bytes:
    out, at = [data[:8]], 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        name, end = data[at + 4 : at + 8], at + 12 + length
        if end > len(data):
            break
        if name in _PNG_KEEP:
            out.append(data[at:end])
        if name == b"IEND":
            return b"".join(out)
        at = end
    raise Unreadable(Code.RIGHTS_PNG_BREAKS)


def tiff_entries(data: bytes) -> tuple[str, dict[int, tuple[int, int, bytes]]]:
    """Byte order ('<' or '>') and the first directory: tag → (type, count, value bytes).

    Raises Unreadable when an entry points outside the file.
    """
    order = "<" if data[:2] == b"II" else ">"
    try:
        (start,) = struct.unpack_from(order + "I", data, 4)
        (count,) = struct.unpack_from(order + "H", data, start)
        entries = {}
        for index in range(count):
            at = start + 2 + 12 * index
            tag, kind, number = struct.unpack_from(order + "HHI", data, at)
            size = _TIFF_UNIT.get(kind, 0) * number
            where = at + 8 if size <= 4 else struct.unpack_from(order + "I", data, at + 8)[0]
            if where + size > len(data):
                raise Unreadable(Code.RIGHTS_TIFF_ENTRY, entry=tag)
            entries[tag] = (kind, number, data[where : where + size])
    except struct.error:
        raise Unreadable(Code.RIGHTS_TIFF_DAMAGED) from None
    return order, entries


def _strip_tiff(data: bytes) -> bytes:
    order, entries = tiff_entries(data)
    kept = {tag: entry for tag, entry in sorted(entries.items()) if tag in _TIFF_KEEP}
    offsets_tag, sizes_tag = (324, 325) if 324 in kept else (273, 279)
    if offsets_tag not in kept or sizes_tag not in kept:
        raise Unreadable(Code.RIGHTS_TIFF_NO_PIXELS)
    if _numbers(order, kept[259] if 259 in kept else (3, 1, struct.pack(order + "H", 1)))[0] == 6:
        raise Unsupported(Code.RIGHTS_TIFF_OLD_JPEG)
    out = bytearray(data[:4] + b"\x00\x00\x00\x00")
    offsets = []
    pieces = zip(_numbers(order, kept[offsets_tag]), _numbers(order, kept[sizes_tag]), strict=True)
    for where, size in pieces:
        if where + size > len(data):
            raise Unreadable(Code.RIGHTS_TIFF_PIXELS)
        offsets.append(len(out))
        out += data[where : where + size]
        out += b"\x00" * (len(out) % 2)
    kept[offsets_tag] = (4, len(offsets), struct.pack(f"{order}{len(offsets)}I", *offsets))
    return _tiff_directory(order, out, kept)


def _tiff_directory(order: str, out: bytearray, entries: dict[int, tuple[int, int, bytes]]) -> bytes:
    places = {}
    for tag, (_, _, value) in entries.items():
        if len(value) > 4:
            places[tag] = len(out)
            out += value + b"\x00" * (len(value) % 2)
    struct.pack_into(order + "I", out, 4, len(out))
    out += struct.pack(order + "H", len(entries))
    for tag, (kind, number, value) in entries.items():
        inline = struct.pack(order + "I", places[tag]) if tag in places else value.ljust(4, b"\x00")
        out += struct.pack(order + "HHI", tag, kind, number) + inline
    return bytes(out + b"\x00\x00\x00\x00")


def _numbers(order: str, entry: tuple[int, int, bytes]) -> tuple[int, ...]:
    kind, number, value = entry
    letter = {1: "B", 3: "H", 4: "I"}.get(kind)
    if letter is None:
        raise Unreadable(Code.RIGHTS_TIFF_NUMBER)
    return struct.unpack(f"{order}{number}{letter}", value)
