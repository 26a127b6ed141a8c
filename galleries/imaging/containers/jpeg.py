"""The segments of a JPEG file, read without decoding, and written into one.

Markers after ITU-T T.81, APP2 profiles after ICC.1 annex B, JFIF after ITU-T T.871 [std, from memory].
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field

from galleries.imaging.arrays import Bytes
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported
from galleries.told import Told, told

_STANDALONE = frozenset({0x01, *range(0xD0, 0xD9)})
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_DECODABLE = frozenset({0xC0, 0xC1, 0xC2})
_NEXT_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_ICC_TAG = b"ICC_PROFILE\0"
_ICC_CHUNK = 65_519
MOST_SCANS = 64


@dataclass(frozen=True)
class JpegParts:
    """What the header says; `icc_problem` says so when the profile's pieces don't add up."""

    width: int
    height: int
    components: int
    progressive: bool
    exif: bytes = b""
    icc: bytes = b""
    icc_problem: Told | None = None
    adobe: bool = False
    scan_at: int = 0
    sampling: tuple[tuple[int, int], ...] = field(default=())


def _segments(data: Bytes) -> Iterator[tuple[int, int, bytes]]:
    """(marker, offset of the marker, payload) up to and including the first SOS."""
    at = 2
    while True:
        at = data.find(b"\xff", at)
        while 0 <= at < len(data) - 1 and data[at + 1] == 0xFF:
            at += 1
        if at < 0 or at + 4 > len(data):
            raise Unreadable(Code.JPEG_ENDS_EARLY)
        marker = data[at + 1]
        if marker == 0 or marker in _STANDALONE:
            at += 2
            continue
        if marker == 0xD9:
            raise Unreadable(Code.JPEG_NO_DATA)
        (length,) = struct.unpack_from(">H", data, at + 2)
        payload = data[at + 4 : at + 2 + length]
        if length < 2 or len(payload) < length - 2:
            raise Unreadable(Code.JPEG_HEADER_ENDS)
        yield marker, at, payload
        if marker == 0xDA:
            return
        at += 2 + length


def _frame(marker: int, payload: bytes) -> tuple[int, int, int, tuple[tuple[int, int], ...]]:
    if marker not in _DECODABLE:
        kinds = {0xC3: Code.JPEG_LOSSLESS, 0xC9: Code.JPEG_ARITHMETIC, 0xCA: Code.JPEG_ARITHMETIC}
        raise Unsupported(kinds.get(marker, Code.JPEG_HIERARCHICAL))
    if len(payload) < 6:
        raise Unreadable(Code.JPEG_FRAME_SHORT)
    precision, height, width, components = struct.unpack_from(">BHHB", payload)
    if precision != 8:
        raise Unsupported(Code.JPEG_BITS, bits=precision)
    if components not in (1, 3, 4) or len(payload) < 6 + 3 * components:
        raise Unreadable(Code.JPEG_COMPONENTS, components=components)
    factors = [payload[7 + 3 * index] for index in range(components)]
    return width, height, components, tuple((factor >> 4, factor & 15) for factor in factors)


def _profile(pieces: list[bytes]) -> tuple[bytes, Told | None]:
    """The profile from its APP2 payloads, and what is wrong when they don't add up."""
    if not pieces:
        return b"", None
    numbered = {piece[12]: piece[14:] for piece in pieces if len(piece) > 14}
    total = max((piece[13] for piece in pieces if len(piece) > 14), default=0)
    if sorted(numbered) != list(range(1, total + 1)) or not total:
        return b"", told(Code.PROFILE_PIECES)
    return b"".join(numbered[index] for index in sorted(numbered)), None


def read_parts(data: Bytes) -> JpegParts:
    """Parse up to the first scan; raises `Unreadable` or `Unsupported`."""
    exif, adobe, frame, progressive, scan_at = b"", False, None, False, 0
    pieces: list[bytes] = []
    for marker, at, payload in _segments(data):
        if marker == 0xE1 and payload[:6] == b"Exif\0\0" and not exif:
            exif = payload
        elif marker == 0xE2 and payload[:12] == _ICC_TAG:
            pieces.append(payload)
        elif marker == 0xEE and payload[:5] == b"Adobe":
            adobe = True
        elif marker in _FRAMES and frame is None:
            frame, progressive = _frame(marker, payload), marker == 0xC2
        elif marker == 0xDA:
            scan_at = at
    if frame is None:
        raise Unreadable(Code.JPEG_NO_FRAME)
    icc, problem = _profile(pieces)
    width, height, components, sampling = frame
    return JpegParts(width, height, components, progressive, exif, icc, problem, adobe, scan_at, sampling)


def scans_and_end(data: Bytes, scan_at: int) -> tuple[int, int]:
    """(number of scans, offset of the end-of-image marker or -1) of the first picture in the file."""
    at, scans = scan_at, 0
    while True:
        next_marker = _NEXT_MARKER.search(data, at)
        if not next_marker:
            return scans, -1
        at, marker = next_marker.start(), data[next_marker.start() + 1]
        if marker == 0xD9:
            return scans, at
        scans += marker == 0xDA
        if scans > MOST_SCANS or at + 4 > len(data):
            return scans, -1
        at += 2 + (0 if marker in _STANDALONE else struct.unpack_from(">H", data, at + 2)[0])


def bare(data: Bytes) -> bytes:
    """The same picture without application segments (Adobe's apart, which tells the colour model)."""
    kept, scan_at = [], 0
    for marker, at, payload in _segments(data):
        if marker == 0xDA:
            scan_at = at
        elif marker == 0xEE or not 0xE0 <= marker <= 0xEF:
            kept.append(_segment(marker, payload))
    return b"".join((b"\xff\xd8", *kept, data[scan_at:]))


def _segment(marker: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(payload) + 2) + payload


def with_tags(data: bytes, *, ppi: int, icc: bytes) -> bytes:
    """The same JPEG with exactly one JFIF header of `ppi` and the profile `icc` (b"" for none) after it.

    `data` must be a plain encoder's output: APP0 and APP2 segments found in it are replaced.
    """
    kept = []
    scan_at = 0
    for marker, at, payload in _segments(data):
        if marker == 0xDA:
            scan_at = at
        elif marker not in (0xE0, 0xE2):
            kept.append(_segment(marker, payload))
    jfif = _segment(0xE0, b"JFIF\0\x01\x02" + struct.pack(">BHHBB", 1, ppi, ppi, 0, 0))
    count = -(-len(icc) // _ICC_CHUNK)
    pieces = [
        _segment(0xE2, _ICC_TAG + bytes((n + 1, count)) + icc[n * _ICC_CHUNK : (n + 1) * _ICC_CHUNK])
        for n in range(count)
    ]
    return b"".join((b"\xff\xd8", jfif, *pieces, *kept, data[scan_at:]))
