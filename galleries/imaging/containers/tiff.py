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


Directory = dict[int, tuple[int, ...]]  # tag → its whole numbers, none for values of another kind


def check(data: bytes) -> None:
    """Classic TIFF only; a BigTIFF passes unchecked and is left to the decoder.

    Raises:
        Unreadable: the directory, a value or a piece of picture lies past the end.
        Unsupported: a camera's raw file, one whose first picture is only a reduced copy of another, or colours stored
            as CIELAB.
    """
    order = _ORDERS.get(data[:4])
    if order is None:
        return
    try:
        first, following = _directory(data, order, struct.unpack_from(order + "I", data, 4)[0])
    except struct.error as error:
        raise Unreadable(Code.TIFF_CUT_OFF) from error
    if _is_raw(data, order, first, following):
        raise Unsupported(Code.RAW_FRAME)
    if _photometric(first) in _CIELAB:
        raise Unsupported(Code.CIELAB, kind="TIFF")
    for offsets, counts in _PIECES:
        for offset, size in zip(first.get(offsets, ()), first.get(counts, ()), strict=False):
            if offset + size > len(data):
                raise Unreadable(Code.TIFF_CUT_OFF)


def _is_raw(data: bytes, order: str, first: Directory, following: int) -> bool:
    reduced = first.get(_NEW_SUBFILE_TYPE, (0,))[:1] == (1,)
    if reduced or data[8:10] == b"CR" or data[8:12] in (b"IIII", b"MMMM"):
        return True
    if _DNG_VERSION in first or _CFA_PATTERN in first:
        return True
    return any(_photometric(directory) in _SENSOR for directory in _all(data, order, first, following))


def _photometric(directory: Directory) -> int:
    return next(iter(directory.get(_PHOTOMETRIC, ())), -1)


def _all(data: bytes, order: str, first: Directory, following: int) -> Iterator[Directory]:
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


def _directory(data: bytes, order: str, start: int) -> tuple[Directory, int]:
    """The directory, and where the next one starts."""
    (count,) = struct.unpack_from(order + "H", data, start)
    entries = (_entry(data, order, start + 2 + 12 * index) for index in range(count))
    values = dict(entries)
    end = start + 2 + 12 * count
    following = struct.unpack_from(order + "I", data, end)[0] if end + 4 <= len(data) else 0
    return values, following


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
