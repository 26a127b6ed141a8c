"""Whole and cut-off TIFFs, laid by hand after TIFF 6.0 (section 2: header, directory, entries; from memory)."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.containers.tiff import check
from galleries.imaging.errors import Unreadable
from tests.imaging.core_pictures import painted, saved

Entry = tuple[int, int, int, bytes]  # tag, type, count, its value or the offset of it: four bytes
ORDERS = ("<", ">")


def tiff(order: str, entries: list[Entry], rest: bytes = b"", *, start: int = 8, count: int | None = None) -> bytes:
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", start)
    directory = struct.pack(order + "H", len(entries) if count is None else count)
    directory += b"".join(struct.pack(order + "HHI", tag, kind, n) + value for tag, kind, n, value in entries)
    return head + bytes(start - 8) + directory + struct.pack(order + "I", 0) + rest


def long(order: str, value: int) -> bytes:
    return struct.pack(order + "I", value)


def short(order: str, value: int) -> bytes:
    return struct.pack(order + "HH", value, 0)


def cut_off(data: bytes) -> bool:
    try:
        check(data)
    except Unreadable as error:
        return error.told.code == Code.TIFF_CUT_OFF
    return False


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(("offsets", "counts"), [(273, 279), (324, 325)])
def test_a_strip_or_tile_ends_with_the_file_at_the_latest(order: str, offsets: int, counts: int) -> None:
    """TIFF 6.0: StripOffsets 273 with StripByteCounts 279, TileOffsets 324 with TileByteCounts 325."""
    at = 8 + 2 + 2 * 12 + 4
    entries = [(offsets, 4, 1, long(order, at)), (counts, 4, 1, long(order, 50))]
    assert not cut_off(tiff(order, entries, bytes(50)))
    assert cut_off(tiff(order, entries, bytes(49)))


@pytest.mark.parametrize("order", ORDERS)
def test_the_second_strip_counts_too(order: str) -> None:
    at = 8 + 2 + 2 * 12 + 4
    lists = struct.pack(order + "4I", at + 16, at + 26, 10, 10)
    entries = [(273, 4, 2, long(order, at)), (279, 4, 2, long(order, at + 8))]
    assert not cut_off(tiff(order, entries, lists + bytes(20)))
    assert cut_off(tiff(order, entries, lists + bytes(19)))


@pytest.mark.parametrize("order", ORDERS)
def test_short_numbers_stand_left_in_their_four_bytes(order: str) -> None:
    at = 8 + 2 + 2 * 12 + 4
    entries = [(273, 3, 1, short(order, at)), (279, 3, 1, short(order, 9))]
    assert not cut_off(tiff(order, entries, bytes(9)))
    assert cut_off(tiff(order, entries, bytes(8)))


# TIFF 6.0 section 2, types and their sizes in bytes; 13 (IFD) after Adobe's technical note 1.
@pytest.mark.parametrize(
    ("kind", "size"),
    [(1, 1), (2, 1), (3, 2), (4, 4), (5, 8), (6, 1), (7, 1), (8, 2), (9, 4), (10, 8), (11, 4), (12, 8), (13, 4)],
)
def test_a_value_has_the_size_of_its_type(kind: int, size: int) -> None:
    at = 8 + 2 + 12 + 4
    entries = [(34675, kind, 6, long("<", at))]
    assert not cut_off(tiff("<", entries, bytes(6 * size)))
    assert cut_off(tiff("<", entries, bytes(6 * size - 1)))


def test_a_value_of_four_bytes_stands_in_the_entry_and_one_of_five_does_not() -> None:
    far = long("<", 1_000_000)
    assert not cut_off(tiff("<", [(315, 2, 4, far)]))
    assert cut_off(tiff("<", [(315, 2, 5, far)]))


def test_an_unknown_type_is_let_be() -> None:
    assert not cut_off(tiff("<", [(50000, 99, 1000, long("<", 1_000_000))]))


@pytest.mark.parametrize("order", ORDERS)
def test_a_directory_past_the_end_is_cut_off(order: str) -> None:
    whole = tiff(order, [(256, 3, 1, short(order, 9))], start=20)
    assert not cut_off(whole)
    assert cut_off(whole[:19])
    assert cut_off(tiff(order, [(256, 3, 1, short(order, 9))], count=3))
    assert cut_off((b"II*\0" if order == "<" else b"MM\0*") + b"\0\0")


def test_a_value_at_the_very_end_of_a_short_directory_is_seen() -> None:
    """The last entry alone says what is missing: no entry is left out."""
    entries = [(256, 3, 1, short("<", 9)), (257, 3, 1, short("<", 9)), (34675, 7, 100, long("<", 5000))]
    assert cut_off(tiff("<", entries))


def test_other_files_are_left_to_their_decoder() -> None:
    for data in (b"", b"II+\0" + bytes(4), b"MM\0+" + bytes(4), b"II\0*" + b"\xff" * 4, b"MM*\0" + b"\xff" * 4):
        assert not cut_off(data)


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate"])
def test_a_real_file_is_whole_until_it_is_cut(compression: str | None) -> None:
    data = saved(painted(), "TIFF", icc_profile=bytes(range(256)) * 4, compression=compression)
    assert not cut_off(data)
    rng = np.random.default_rng(5)
    assert all(cut_off(data[: int(at)]) for at in rng.integers(8, len(data) - 8, 12))
