"""Whether a TIFF holds all that its first directory points at, told from the directory alone (TIFF 6.0).

libtiff reads what it can and lets go of tags cut off at the end, the colour profile among them: a frame would
then open in the wrong colours without a word.
"""

from __future__ import annotations

import struct

from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_PIECES = ((273, 279), (324, 325))  # offsets and byte counts of strips, of tiles


def check_whole(data: bytes) -> None:
    """Raises `Unreadable` when the directory, a value or a piece of picture lies past the end. Classic TIFF
    only; a BigTIFF passes unchecked and is left to the decoder."""
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(data[:4])
    if order is None:
        return
    try:
        (start,) = struct.unpack_from(order + "I", data, 4)
        (count,) = struct.unpack_from(order + "H", data, start)
        values = {}
        for index in range(count):
            tag, numbers = _entry(data, order, start + 2 + 12 * index)
            values[tag] = numbers
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
    if kind not in (3, 4):
        return tag, ()
    return tag, struct.unpack_from(f"{order}{count}{'H' if kind == 3 else 'I'}", data, where)
