"""What a TIFF is, and whether it holds all that its first directory points at, told from directories alone (TIFF 6.0).

A camera's raw file is a TIFF too, whose first directory often holds a thumbnail: content decides, never the ending.

libtiff reads what it can and lets go of tags cut off at the end, the colour profile among them: a frame would
then open in the wrong colours without a word.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported

_ORDERS = {b"II*\0": "<", b"MM\0*": ">"}
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_NEW_SUBFILE_TYPE, _PHOTOMETRIC, _SUB_DIRECTORIES = 254, 262, 330
_CFA_PATTERN, _DNG_VERSION = 33422, 50706  # TIFF/EP (ISO 12234-2) and Adobe's DNG specification [std, from memory]
_CIELAB = (8, 9, 10)  # CIE L*a*b*, ICC L*a*b*, ITU L*a*b*
_SENSOR = (32803, 34892)  # colour filter array, linear raw
_MOST_DIRECTORIES = 16
_PIECES = ((273, 279), (324, 325))  # offsets and byte counts of strips, of tiles


def check_kind(data: bytes) -> None:
    """Raises `Unsupported` for a camera's raw file, for one whose first picture is only a reduced copy of another, and
    for colours stored as CIELAB. What cannot be read of the directories is left to `check_whole`."""
    order = _ORDERS.get(data[:4])
    if order is None:
        return
    try:
        first, following = _directory(data, order, struct.unpack_from(order + "I", data, 4)[0])
    except (struct.error, Unreadable):
        return
    reduced = first.get(_NEW_SUBFILE_TYPE, (0,))[:1] == (1,)
    if data[8:10] == b"CR" or data[8:12] in (b"IIII", b"MMMM") or _DNG_VERSION in first or reduced:
        raise Unsupported(Code.RAW_FRAME)
    if _CFA_PATTERN in first or any(
        _photometric(directory) in _SENSOR for directory in _all(data, order, first, following)
    ):
        raise Unsupported(Code.RAW_FRAME)
    if _photometric(first) in _CIELAB:
        raise Unsupported(Code.CIELAB, kind="TIFF")


def _photometric(directory: dict[int, tuple[int, ...]]) -> int:
    return next(iter(directory.get(_PHOTOMETRIC, ())), -1)


def _all(
    data: bytes, order: str, first: dict[int, tuple[int, ...]], following: int
) -> Iterator[dict[int, tuple[int, ...]]]:
    """The first directory, those it names as its parts, and those that follow it; damaged ones are passed over."""
    yield first
    waiting = [following, *first.get(_SUB_DIRECTORIES, ())]
    for _ in range(_MOST_DIRECTORIES):
        if not waiting:
            return
        start = waiting.pop(0)
        if not start:
            continue
        try:
            directory, after = _directory(data, order, start)
        except (struct.error, Unreadable):
            continue
        yield directory
        waiting.append(after)


def _directory(data: bytes, order: str, start: int) -> tuple[dict[int, tuple[int, ...]], int]:
    """Tags with their whole numbers (none for values of another kind), and where the next directory starts."""
    (count,) = struct.unpack_from(order + "H", data, start)
    entries = (_entry(data, order, start + 2 + 12 * index) for index in range(count))
    values = dict(entries)
    end = start + 2 + 12 * count
    following = struct.unpack_from(order + "I", data, end)[0] if end + 4 <= len(data) else 0
    return values, following


def check_whole(data: bytes) -> None:
    """Raises `Unreadable` when the directory, a value or a piece of picture lies past the end. Classic TIFF
    only; a BigTIFF passes unchecked and is left to the decoder."""
    order = _ORDERS.get(data[:4])
    if order is None:
        return
    try:
        values, _ = _directory(data, order, struct.unpack_from(order + "I", data, 4)[0])
    except struct.error as error:
        raise Unreadable(Code.TIFF_CUT_OFF) from error
    for offsets, counts in _PIECES:
        for offset, size in zip(values.get(offsets, ()), values.get(counts, ()), strict=False):
            if offset + size > len(data):
                raise Unreadable(Code.TIFF_CUT_OFF)


def _entry(data: bytes, order: str, at: int) -> tuple[int, tuple[int, ...]]:
    """(tag, its values when they are plain whole numbers)."""
    tag, kind, count = struct.unpack_from(order + "HHI", data, at)
    size = _SIZES.get(kind, 0) * count
    where = at + 8 if size <= 4 else struct.unpack_from(order + "I", data, at + 8)[0]
    if where + size > len(data):
        raise Unreadable(Code.TIFF_CUT_OFF)
    if kind not in (3, 4, 13):
        return tag, ()
    return tag, struct.unpack_from(f"{order}{count}{'H' if kind == 3 else 'I'}", data, where)
