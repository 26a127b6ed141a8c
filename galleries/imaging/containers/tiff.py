"""What a TIFF is, and whether it holds all that its first directory points at, told from directories alone (TIFF 6.0).

A camera's raw file is a TIFF too, whose first directory often holds a thumbnail: content decides, never the ending.

libtiff reads what it can and lets go of tags cut off at the end, the colour profile among them: a frame would
then open in the wrong colours without a word.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import NamedTuple

from galleries.imaging.arrays import Bytes
from galleries.imaging.codes import Code
from galleries.imaging.errors import Unreadable, Unsupported

_ORDERS = {b"II*\0": "<", b"MM\0*": ">", b"IIU\0": "<", b"IIRO": "<", b"IIRS": "<", b"MMOR": ">"}  # raw kinds last
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_NEW_SUBFILE_TYPE, _WIDTH, _HEIGHT, _PHOTOMETRIC, MAKE, _SUB_DIRECTORIES = 254, 256, 257, 262, 271, 330
_BITS, _COMPRESSION, _ORIENTATION, _SAMPLES = 258, 259, 274, 277
_JPEG_AT, _JPEG_LENGTH, _RW2_DATA_AT = 513, 514, 280
_CFA_PATTERN, DNG_VERSION = 33422, 50706  # TIFF/EP (ISO 12234-2) and Adobe's DNG specification [std, from memory]
_PREVIEW_SPACE, _SPACES = 50970, {2: "sRGB", 3: "Adobe RGB"}  # DNG: PreviewColorSpace
_ACTIVE_AREA, _JPEG = 50829, (6, 7)  # DNG: top, left, bottom, right; compressions 6 (old) and 7
_CIELAB = (8, 9, 10)  # CIE L*a*b*, ICC L*a*b*, ITU L*a*b*
_SENSOR = (32803, 34892)  # colour filter array, linear raw
_MOST_DIRECTORIES = 16
_PIECES = ((273, 279), (324, 325))  # offsets and byte counts of strips, of tiles


Directory = dict[int, tuple[int, ...]]  # tag → its whole numbers, none for values of another kind


def check(data: Bytes) -> None:
    """Classic TIFF only; a BigTIFF passes unchecked and is left to the decoder.

    Raises:
        Unreadable: the directory, a value or a piece of picture lies past the end.
        Unsupported: a camera's raw file, one whose first picture is only a reduced copy of another, or colours stored
            as CIELAB.
    """
    opened = _opened(data)
    if opened is None:
        return
    order, first, following = opened
    if _is_raw(data, order, first, following):
        raise Unsupported(Code.RAW_FRAME)
    if _photometric(first) in _CIELAB:
        raise Unsupported(Code.CIELAB, kind="TIFF")
    if not _pieces_inside(first, len(data)):
        raise Unreadable(Code.TIFF_CUT_OFF)


def _opened(data: Bytes) -> tuple[str, Directory, int] | None:
    """The order of bytes, the first directory, where the next one is; None for no classic TIFF. Raises `Unreadable`."""
    order = _ORDERS.get(data[:4])
    if order is None:
        return None
    try:
        return order, *_directory(data, order, struct.unpack_from(order + "I", data, 4)[0])
    except struct.error as error:
        raise Unreadable(Code.TIFF_CUT_OFF) from error


def _pieces_inside(directory: Directory, size: int) -> bool:
    return all(
        not count or offset + count <= size
        for offsets, counts in (*_PIECES, (_JPEG_AT, _JPEG_LENGTH))
        for offset, count in zip(directory.get(offsets, ()), directory.get(counts, ()), strict=False)
    )


def raw_marks(data: Bytes) -> Directory | None:
    """The first directory of a camera's raw file; None for any other TIFF, a damaged one among them."""
    try:
        opened = _opened(data)
    except Unreadable:
        return None
    if opened is None:
        return None
    order, first, following = opened
    return first if _is_raw(data, order, first, following) else None


def is_whole(data: Bytes) -> bool:
    """Does all that the directories of a raw file point at lie inside it? The parts they name are looked at too; of
    RW2, which points by tags of its own, the first directory and where its sensor's data start."""
    try:
        opened = _opened(data)
        if opened is not None and data[:4] == b"IIU\0":
            return max(opened[1].get(_RW2_DATA_AT, (0,))) < len(data)
        return opened is None or all(
            _pieces_inside(directory, len(data)) for directory in _all(data, *opened, strictly=True)
        )
    except (struct.error, Unreadable):
        return False


def preview_space(data: Bytes, width: int, height: int) -> str:
    """What a DNG says of the colours of its preview of this size: "sRGB", "Adobe RGB", or "" for unsaid."""
    opened = _opened(data)
    for directory in _all(data, *opened) if opened else ():
        if directory.get(_WIDTH) == (width,) and directory.get(_HEIGHT) == (height,) and _PREVIEW_SPACE in directory:
            return _SPACES.get(next(iter(directory[_PREVIEW_SPACE]), 0), "")
    return ""


class Negative(NamedTuple):
    """A DNG by its directories: the sensor's picture as stored, without masked edges, how to turn it (EXIF's 1 to 8),
    and where JPEGs of other sizes stand: (offset, length)."""

    width: int
    height: int
    orientation: int
    jpegs: tuple[tuple[int, int], ...]


def negative(data: Bytes) -> Negative | None:
    """None where the directories do not tell. Raises `Unreadable` when the sensor's data are fewer than they claim,
    which is told without a decode where they are not compressed."""
    opened = _opened(data)
    if opened is None or DNG_VERSION not in opened[1]:
        return None
    directories = list(_all(data, *opened))
    sensors = [one for one in directories if _one(one, _NEW_SUBFILE_TYPE) == 0 and _photometric(one) in _SENSOR]
    orientation = _one(opened[1], _ORIENTATION, 1)
    if len(sensors) != 1 or not 1 <= orientation <= 8:
        return None
    (sensor,) = sensors
    _check_claim(sensor)
    width, height = _one(sensor, _WIDTH), _one(sensor, _HEIGHT)
    area = sensor.get(_ACTIVE_AREA, (0, 0, height, width))
    if len(area) != 4:
        return None
    top, left, bottom, right = area
    if not (0 <= top < bottom <= height and 0 <= left < right <= width):
        return None
    jpegs = tuple(place for one in directories if one is not sensor and (place := _jpeg_place(one)) is not None)
    return Negative(right - left, bottom - top, orientation, jpegs)


def _one(directory: Directory, tag: int, unsaid: int = 0) -> int:
    return next(iter(directory.get(tag, ())), unsaid)


def _check_claim(sensor: Directory) -> None:
    bits = sum(sensor.get(_BITS, (1,))[:1]) * _one(sensor, _SAMPLES, 1)
    wanted = _one(sensor, _HEIGHT) * (_one(sensor, _WIDTH) * bits // 8) if _one(sensor, _COMPRESSION, 1) == 1 else 1
    if sum(size for _, counts in _PIECES for size in sensor.get(counts, ())) < wanted:
        raise Unreadable(Code.RAW_CUT_OFF, kind="DNG")


def _jpeg_place(directory: Directory) -> tuple[int, int] | None:
    """Where a picture stands that is one JPEG and no more."""
    if len(directory.get(_JPEG_AT, ())) == len(directory.get(_JPEG_LENGTH, ())) == 1:
        return directory[_JPEG_AT][0], directory[_JPEG_LENGTH][0]
    at, size = _PIECES[0]
    if _one(directory, _COMPRESSION) in _JPEG and len(directory.get(at, ())) == len(directory.get(size, ())) == 1:
        return directory[at][0], directory[size][0]
    return None


def text(data: Bytes, tag: int) -> bytes:
    """The first letters (64 at most) of a text in the first directory, b"" where there is none."""
    order = _ORDERS.get(data[:4], "<")
    try:
        (start,) = struct.unpack_from(order + "I", data, 4)
        (count,) = struct.unpack_from(order + "H", data, start)
        for index in range(count):
            at = start + 2 + 12 * index
            name, kind, length = struct.unpack_from(order + "HHI", data, at)
            if name == tag and kind == 2:
                where = at + 8 if length <= 4 else struct.unpack_from(order + "I", data, at + 8)[0]
                return data[where : where + min(length, 64)].split(b"\0", 1)[0].strip()
    except struct.error:
        pass
    return b""


def _is_raw(data: Bytes, order: str, first: Directory, following: int) -> bool:
    reduced = first.get(_NEW_SUBFILE_TYPE, (0,))[:1] == (1,)
    if reduced or data[8:10] == b"CR" or data[8:12] in (b"IIII", b"MMMM"):
        return True
    if DNG_VERSION in first or _CFA_PATTERN in first:
        return True
    return any(_photometric(directory) in _SENSOR for directory in _all(data, order, first, following))


def _photometric(directory: Directory) -> int:
    return next(iter(directory.get(_PHOTOMETRIC, ())), -1)


def _all(data: Bytes, order: str, first: Directory, following: int, *, strictly: bool = False) -> Iterator[Directory]:
    """The first directory, those it names as its parts, and those that follow it; damaged ones are passed over, or
    (`strictly`) raise `struct.error` or `Unreadable`."""
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
            if strictly:
                raise
            continue
        yield directory
        waiting.append(after)


def _directory(data: Bytes, order: str, start: int) -> tuple[Directory, int]:
    """The directory, and where the next one starts."""
    (count,) = struct.unpack_from(order + "H", data, start)
    entries = (_entry(data, order, start + 2 + 12 * index) for index in range(count))
    values = dict(entries)
    end = start + 2 + 12 * count
    following = struct.unpack_from(order + "I", data, end)[0] if end + 4 <= len(data) else 0
    return values, following


def _entry(data: Bytes, order: str, at: int) -> tuple[int, tuple[int, ...]]:
    """(tag, its values when they are plain whole numbers)."""
    tag, kind, count = struct.unpack_from(order + "HHI", data, at)
    size = _SIZES.get(kind, 0) * count
    where = at + 8 if size <= 4 else struct.unpack_from(order + "I", data, at + 8)[0]
    if where + size > len(data):
        raise Unreadable(Code.TIFF_CUT_OFF)
    if kind not in (3, 4, 13):
        return tag, ()
    return tag, struct.unpack_from(f"{order}{count}{'H' if kind == 3 else 'I'}", data, where)
