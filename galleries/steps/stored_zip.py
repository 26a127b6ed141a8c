"""A ZIP of stored files that lie elsewhere, laid out before a byte of it is sent: its length is known, and any part
of it can be had without what lies before. Nothing is compressed: pictures are already.

Source: PKWARE's APPNOTE 6.3.10, 4.3.7 (local head), 4.3.12 (directory), 4.3.16 (its end), 4.4.4 bit 11 (UTF-8 names).
Below 4 GiB and 65,535 members only; `fits` says so, and `layout` asks for no more.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

LOCAL, CENTRAL, END = struct.Struct("<4s5H3I2H"), struct.Struct("<4s6H3I5H2I"), struct.Struct("<4s4H2IH")
VERSION, UTF_8, STORED = 20, 0x0800, 0
UNIX, PLAIN_FILE = 3 << 8, 0o100644 << 16
MOST_BYTES, MOST_MEMBERS = 0xFFFF_FFFF, 0xFFFF


@dataclass(frozen=True)
class Member:
    """One file: its name in the archive, where its bytes are, how many, and their CRC-32."""

    name: str
    content: str
    bytes: int
    crc32: int


Part = bytes | Member


def crc32(pieces: Iterable[bytes]) -> int:
    """Of a file that is read in pieces."""
    value = 0
    for piece in pieces:
        value = zlib.crc32(piece, value)
    return value


def length(files: Sequence[tuple[str, int]]) -> int:
    """Of the archive of files of these names and sizes, in bytes."""
    heads = sum(LOCAL.size + CENTRAL.size + 2 * len(name.encode()) for name, _size in files)
    return heads + sum(size for _name, size in files) + END.size


def fits(files: Sequence[tuple[str, int]]) -> bool:
    return length(files) <= MOST_BYTES and len(files) <= MOST_MEMBERS


def layout(members: Sequence[Member], dated: datetime) -> list[Part]:
    """The archive in order: heads as bytes, and between them the members whose bytes stand there.

    Raises:
        ValueError: more than this kind of archive holds.
    """
    if not fits([(one.name, one.bytes) for one in members]):
        raise ValueError("too much for a ZIP without 64-bit fields")
    parts: list[Part] = []
    directory, offset = b"", 0
    for one in members:
        name = one.name.encode()
        shared = (UTF_8, STORED, *_clock(dated), one.crc32, one.bytes, one.bytes, len(name), 0)
        directory += CENTRAL.pack(b"PK\x01\x02", UNIX | VERSION, VERSION, *shared, 0, 0, 0, PLAIN_FILE, offset) + name
        parts += [LOCAL.pack(b"PK\x03\x04", VERSION, *shared) + name, one]
        offset += LOCAL.size + len(name) + one.bytes
    many = len(members)
    return [*parts, directory + END.pack(b"PK\x05\x06", 0, 0, many, many, len(directory), offset, 0)]


def pieces(
    parts: Sequence[Part], first: int, stop: int, read: Callable[[str, int, int], Iterator[bytes]]
) -> Iterator[bytes]:
    """The archive's bytes from `first` up to `stop`; `read(content, first, stop)` gives those of a file."""
    at = 0
    for part in parts:
        size = part.bytes if isinstance(part, Member) else len(part)
        start, end = max(first - at, 0), min(stop - at, size)
        at += size
        if start >= end:
            continue
        if isinstance(part, Member):
            yield from read(part.content, start, end)
        else:
            yield part[start:end]


def _clock(dated: datetime) -> tuple[int, int]:
    """Time and date as MS-DOS writes them, in UTC: two-second steps, years from 1980."""
    moment = dated.astimezone(UTC)
    time = moment.hour << 11 | moment.minute << 5 | moment.second // 2
    return time, (moment.year - 1980) << 9 | moment.month << 5 | moment.day
