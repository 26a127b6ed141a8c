"""Which camera's raw file this is, and whether it is whole: told from its content alone, without a decode.

TIFF-like kinds after TIFF 6.0, TIFF/EP (ISO 12234-2) and Adobe's DNG specification; ISO base media boxes after
ISO/IEC 14496-12; the magics of RAF, ORF, RW2, CR2 and IIQ from memory [no published standard].
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from galleries.imaging.arrays import Bytes
from galleries.imaging.codes import Code
from galleries.imaging.containers import jpeg, tiff
from galleries.imaging.errors import ImagingError, Unreadable

# The maker's word in the first directory's Make, for kinds that have no magic of their own.
_BY_MAKER = ((b"NIKON", "NEF"), (b"SONY", "ARW"), (b"PENTAX", "PEF"), (b"RICOH", "PEF"), (b"HASSELBLAD", "3FR"))
_ORF = (b"IIRO", b"IIRS", b"MMOR")
_RAF, _RAF_PLACES = b"FUJIFILMCCD-RAW ", 84  # six numbers: offset and length of the JPEG, the header, the sensor's data
_CR3 = b"crx "
_CANON_BOX = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")  # the uuid box that holds the EXIF directories
_MOST_BOXES = 64


def kind_of(data: Bytes) -> str:
    """ "DNG", "CR2", "CR3", "NEF", "ARW", "RAF", "ORF", "RW2", "PEF", "3FR", "IIQ", "RAW" for any other; else ""."""
    if data[:16] == _RAF:
        return "RAF"
    if data[4:8] == b"ftyp":
        return "CR3" if data[8:12] == _CR3 else ""
    if data[:4] in _ORF:
        return "ORF"
    if data[:4] == b"IIU\0":
        return "RW2"
    if data[:4] in (b"II*\0", b"MM\0*"):
        return _tiff_kind(data)
    return ""


def _tiff_kind(data: Bytes) -> str:
    first = tiff.raw_marks(data)
    if first is None:
        return ""
    if tiff.DNG_VERSION in first:
        return "DNG"
    if data[8:10] == b"CR":
        return "CR2"
    if data[8:12] in (b"IIII", b"MMMM"):
        return "IIQ"
    maker = tiff.text(data, tiff.MAKE).upper()
    return next((kind for word, kind in _BY_MAKER if maker.startswith(word)), "RAW")


def check(data: Bytes, kind: str) -> None:
    """Raises `Unreadable` when a part that the file points at lies past its end."""
    if kind == "RAF":
        whole = len(data) >= _RAF_PLACES + 24 and all(at + size <= len(data) for at, size in _raf_places(data))
    elif kind == "CR3":
        whole = sum(size for _, _, size in _boxes(data, 0, len(data))) == len(data)
    else:
        whole = tiff.is_whole(data)
    if not whole:
        raise Unreadable(Code.RAW_CUT_OFF, kind=kind)


def exif_blocks(data: Bytes, kind: str) -> tuple[Bytes, ...]:
    """EXIF as TIFF structures: one with its directories, or (CR3) the first directory and the detail apart."""
    if kind == "RAF":
        if len(data) < _RAF_PLACES + 24:
            return ()
        at, size = _raf_places(data)[0]
        try:
            return (jpeg.read_parts(data[at : at + size]).exif,)
        except ImagingError:
            return ()
    if kind == "CR3":
        blocks = {name: data[at : at + size] for name, at, size in _canon_boxes(data)}
        return (blocks.get(b"CMT1", b""), blocks.get(b"CMT2", b""))
    return (data,)


def _raf_places(data: Bytes) -> list[tuple[int, int]]:
    numbers = struct.unpack_from(">6I", data, _RAF_PLACES)
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def _boxes(data: Bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """(name, start, whole size) of the boxes one after the other; stops at the first that cannot be one."""
    for _ in range(_MOST_BOXES):
        if start + 8 > end:
            return
        size, name = struct.unpack_from(">I4s", data, start)
        if size == 1 and start + 16 <= end:
            (size,) = struct.unpack_from(">Q", data, start + 8)
        elif size == 0:
            size = end - start
        if size < 8 or start + size > end:
            return
        yield name, start, size
        start += size


def _canon_boxes(data: Bytes) -> Iterator[tuple[bytes, int, int]]:
    """(name, start of its content, size of it) of the boxes in the maker's own box."""
    for name, start, size in _boxes(data, 0, len(data)):
        if name != b"moov":
            continue
        for inner, at, length in _boxes(data, start + 8, start + size):
            if inner == b"uuid" and data[at + 8 : at + 24] == _CANON_BOX:
                for box, where, whole in _boxes(data, at + 24, at + length):
                    yield box, where + 8, whole - 8
