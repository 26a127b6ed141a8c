"""JPEG files taken apart and put together: hand-laid segments after ITU-T T.81, T.871 (JFIF) and ICC.1 annex B.

The layouts of the standards are from memory; Pillow reads back what is written.
"""

from __future__ import annotations

import io
import struct
from typing import Any

import pytest
from PIL import Image

from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.containers import jpeg
from galleries.imaging.errors import ImagingError, Unreadable, Unsupported
from tests.imaging.core_pictures import exif, painted, saved

SOI, EOI = b"\xff\xd8", b"\xff\xd9"


def segment(marker: int, payload: bytes = b"") -> bytes:
    """T.81 B.1.1.4: a marker, then a length that counts itself, then the parameters."""
    return bytes((0xFF, marker)) + struct.pack(">H", len(payload) + 2) + payload


def frame(marker: int = 0xC0, *, width: int = 30, height: int = 20, bits: int = 8, factors: bytes = b"\x22\x11\x11",
          claimed: int | None = None) -> bytes:  # fmt: skip
    """T.81 B.2.2: precision, lines, samples a line, components; each with its number, H and V, and table."""
    count = len(factors) if claimed is None else claimed
    parts = b"".join(bytes((at + 1, factor, 0)) for at, factor in enumerate(factors))
    return segment(marker, struct.pack(">BHHB", bits, height, width, count) + parts)


SCAN = segment(0xDA, b"\x01\x01\x00\x00\x3f\x00")


def parts(*pieces: bytes) -> jpeg.JpegParts:
    return jpeg.read_parts(SOI + b"".join(pieces) + SCAN + b"coded" + EOI)


def code_of(kind: type[ImagingError], data: bytes) -> tuple[str, dict[str, Any]]:
    with pytest.raises(kind) as caught:
        jpeg.read_parts(data)
    assert type(caught.value) is kind
    return caught.value.told.code, dict(caught.value.told.data)


# What the header says


def test_the_frame_is_read_in_the_order_of_the_standard() -> None:
    found = parts(frame(width=6000, height=4000))
    assert (found.width, found.height, found.components) == (6000, 4000, 3)
    assert found.sampling == ((2, 2), (1, 1), (1, 1))
    assert not found.progressive


@pytest.mark.parametrize(("factor", "pair"), [(0x21, (2, 1)), (0x12, (1, 2)), (0x41, (4, 1)), (0x11, (1, 1))])
def test_sampling_is_across_then_down(factor: int, pair: tuple[int, int]) -> None:
    assert parts(frame(factors=bytes((factor, 0x11, 0x11)))).sampling[0] == pair


@pytest.mark.parametrize(("marker", "progressive"), [(0xC0, False), (0xC1, False), (0xC2, True)])
def test_baseline_extended_and_progressive_frames_are_taken(marker: int, progressive: bool) -> None:
    assert parts(frame(marker)).progressive is progressive


@pytest.mark.parametrize("count", [1, 3, 4])
def test_grey_colour_and_four_inks(count: int) -> None:
    assert parts(frame(factors=b"\x11" * count)).components == count


# T.81 table B.1: what each start of frame means.
@pytest.mark.parametrize(
    ("marker", "code"),
    [
        (0xC3, Code.JPEG_LOSSLESS),
        (0xC5, Code.JPEG_HIERARCHICAL),
        (0xC6, Code.JPEG_HIERARCHICAL),
        (0xC7, Code.JPEG_HIERARCHICAL),
        (0xC9, Code.JPEG_ARITHMETIC),
        (0xCA, Code.JPEG_ARITHMETIC),
        (0xCB, Code.JPEG_HIERARCHICAL),
        (0xCD, Code.JPEG_HIERARCHICAL),
        (0xCF, Code.JPEG_HIERARCHICAL),
    ],
)
def test_coding_that_no_camera_uses_is_named(marker: int, code: Code) -> None:
    assert code_of(Unsupported, SOI + frame(marker) + SCAN) == (code, {})


@pytest.mark.parametrize("marker", [0xC4, 0xC8, 0xCC])
def test_tables_in_the_range_of_frames_are_no_frames(marker: int) -> None:
    """T.81: Huffman tables, a reserved marker and arithmetic conditioning lie between the starts of frames."""
    assert parts(segment(marker, bytes(20)), frame()).width == 30


@pytest.mark.parametrize("bits", [7, 9, 12])
def test_other_depths_than_eight_bits_are_named(bits: int) -> None:
    assert code_of(Unsupported, SOI + frame(bits=bits) + SCAN) == (Code.JPEG_BITS, {"bits": bits})


@pytest.mark.parametrize("count", [0, 2, 5])
def test_other_numbers_of_components_are_refused(count: int) -> None:
    data = SOI + frame(factors=b"\x11" * count) + SCAN
    assert code_of(Unreadable, data) == (Code.JPEG_COMPONENTS, {"components": count})


def test_components_that_are_only_claimed_are_refused() -> None:
    data = SOI + frame(factors=b"\x11\x11", claimed=3) + SCAN
    assert code_of(Unreadable, data) == (Code.JPEG_COMPONENTS, {"components": 3})
    assert parts(frame(factors=b"\x11\x11\x11", claimed=3)).components == 3


def test_a_frame_too_short_for_its_numbers_is_refused() -> None:
    assert code_of(Unreadable, SOI + segment(0xC0, b"\x08\0\x14\0\x1e") + SCAN)[0] == Code.JPEG_FRAME_SHORT


def test_the_first_frame_counts() -> None:
    assert parts(frame(width=30), frame(width=900)).width == 30


def test_a_file_without_a_frame_is_refused() -> None:
    assert code_of(Unreadable, SOI + SCAN + b"coded" + EOI)[0] == Code.JPEG_NO_FRAME


def test_an_end_before_any_scan_is_refused() -> None:
    assert code_of(Unreadable, SOI + frame() + EOI + SCAN)[0] == Code.JPEG_NO_DATA


@pytest.mark.parametrize("data", [SOI, SOI + b"\xff", SOI + frame(), SOI + b"\xff" * 40, SOI + frame() + b"\xff\xda\0"])
def test_a_file_that_stops_early_is_refused(data: bytes) -> None:
    assert code_of(Unreadable, data)[0] == Code.JPEG_ENDS_EARLY


@pytest.mark.parametrize("length", [0, 1, 40])
def test_a_length_that_cannot_be_is_refused(length: int) -> None:
    """T.81 B.1.1.4: the length counts its own two bytes, so it is at least 2; the rest has to be there."""
    data = SOI + b"\xff\xe1" + struct.pack(">H", length) + b"only these"
    assert code_of(Unreadable, data)[0] == Code.JPEG_HEADER_ENDS


def test_an_empty_segment_is_allowed() -> None:
    assert parts(segment(0xFE), frame()).width == 30


def test_fill_bytes_and_markers_without_length_are_passed_over() -> None:
    """T.81 B.1.1.2: any number of 0xFF may stand before a marker; TEM and RST have no parameters."""
    assert parts(b"\xff\xff\xff" + frame()).width == 30
    assert parts(b"\xff\x01", b"\xff\xd0", b"\xff\xd7", frame()).width == 30


def test_the_scan_is_where_its_marker_is() -> None:
    head = SOI + segment(0xFE, b"a note") + frame()
    assert jpeg.read_parts(head + SCAN + b"coded" + EOI).scan_at == len(head)


# Exif, Adobe and the profile


def test_exif_is_the_first_segment_that_says_so() -> None:
    first, second = b"Exif\0\0II*\0first", b"Exif\0\0II*\0second"
    found = parts(
        segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<x/>"), segment(0xE1, first), segment(0xE1, second), frame()
    )
    assert found.exif == first
    assert parts(segment(0xE2, first), frame()).exif == b""


def test_adobe_says_so_in_app14_only() -> None:
    assert parts(segment(0xEE, b"Adobe\0d\0\0\0\0\0\1"), frame()).adobe
    assert not parts(segment(0xEE, b"Other"), frame()).adobe
    assert not parts(segment(0xED, b"Adobe\0d"), frame()).adobe


def piece(number: int, total: int, body: bytes) -> bytes:
    """ICC.1 annex B.4: the identifying string, the sequence number from 1, the total, then part of the profile."""
    return segment(0xE2, b"ICC_PROFILE\0" + bytes((number, total)) + body)


def test_a_profile_in_pieces_is_joined_in_their_order() -> None:
    found = parts(piece(2, 3, b"-two"), piece(1, 3, b"one"), piece(3, 3, b"-three"), frame())
    assert found.icc == b"one-two-three"
    assert found.icc_problem is None


@pytest.mark.parametrize(
    "pieces",
    [
        [piece(1, 2, b"one")],
        [piece(2, 2, b"two")],
        [piece(1, 2, b"one"), piece(3, 2, b"three")],
        [piece(0, 1, b"none")],
        [piece(1, 0, b"none in all")],
        [piece(1, 1, b"")],
        [piece(1, 1, b"one"), piece(2, 1, b"too many")],
    ],
)
def test_pieces_that_do_not_add_up_are_told_and_no_profile_is_guessed(pieces: list[bytes]) -> None:
    found = parts(*pieces, frame())
    assert found.icc == b""
    assert found.icc_problem is not None
    assert found.icc_problem.code == Code.PROFILE_PIECES


def test_a_piece_without_a_body_says_nothing() -> None:
    found = parts(piece(1, 1, b"one"), piece(2, 2, b""), frame())
    assert (found.icc, found.icc_problem) == (b"one", None)


def test_other_app2_segments_are_no_profile() -> None:
    found = parts(segment(0xE2, b"MPF\0" + bytes(40)), frame())
    assert (found.icc, found.icc_problem) == (b"", None)


# Scans and the end


def test_scans_are_counted_to_the_end_of_the_first_picture() -> None:
    head = SOI + frame()
    body = SCAN + b"a\xff\x00b\xff\xd3c" + SCAN + b"d" + SCAN + b"e"
    data = head + body + EOI + b"another picture" + SCAN + EOI
    assert jpeg.scans_and_end(data, len(head)) == (3, len(head) + len(body))


def test_a_marker_inside_a_segment_is_no_end() -> None:
    """The tables between two scans may hold the bytes of an end marker: their length jumps over them."""
    head = SOI + frame()
    data = head + SCAN + b"a" + segment(0xC4, b"\xff\xd9\xff\xd9") + SCAN + b"b" + EOI
    assert jpeg.scans_and_end(data, len(head)) == (2, len(data) - 2)


@pytest.mark.parametrize("rest", [b"coded", b"coded\xff", b"coded\xff\x00\xff\xd5", b"coded\xff\xc4\x00"])
def test_a_picture_without_an_end_has_none(rest: bytes) -> None:
    head = SOI + frame()
    assert jpeg.scans_and_end(head + SCAN + rest, len(head)) == (1, -1)


def test_more_scans_than_any_encoder_writes_are_not_walked() -> None:
    head = SOI + frame()
    most = head + SCAN * jpeg.MOST_SCANS + EOI
    assert jpeg.scans_and_end(most, len(head)) == (jpeg.MOST_SCANS, len(most) - 2)
    assert jpeg.scans_and_end(head + SCAN * 1000 + EOI, len(head)) == (jpeg.MOST_SCANS + 1, -1)


@pytest.mark.parametrize("progressive", [False, True])
def test_a_real_file_ends_where_pillow_ends_it(progressive: bool) -> None:
    data = saved(painted(), quality=90, progressive=progressive)
    scans, end = jpeg.scans_and_end(data, jpeg.read_parts(data).scan_at)
    assert end == len(data) - 2
    assert (scans > 1) == progressive  # T.81 G: spectral selection and successive approximation need several


# Writing


def test_bare_keeps_the_picture_and_nothing_that_tells_of_it() -> None:
    adobe = segment(0xEE, b"Adobe\0d\0\0\0\0\0\1")
    tables = segment(0xDB, bytes(65)) + frame() + segment(0xFE, b"note")
    told = b"".join(segment(marker, b"private") for marker in range(0xE0, 0xF0) if marker != 0xEE)
    rest = SCAN + b"coded" + EOI + b"after the end"
    assert jpeg.bare(SOI + told + adobe + tables + rest) == SOI + adobe + tables + rest


def test_bare_pixels_are_the_same() -> None:
    data = saved(painted(), quality=90, comment=b"x", exif=exif(), icc_profile=bytes(300))
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(jpeg.bare(data))) as after:
        assert before.tobytes() == after.tobytes()
        assert not {"exif", "icc_profile", "jfif"} & set(after.info)


@pytest.mark.parametrize("ppi", [72, 300])
def test_pillow_reads_the_tags_that_were_written(ppi: int) -> None:
    icc = profiles.build("Display P3")
    data = jpeg.with_tags(saved(painted(), quality=90, dpi=(11, 13), icc_profile=b"old" * 40), ppi=ppi, icc=icc)
    with Image.open(io.BytesIO(data)) as image:
        assert image.info["icc_profile"] == icc
        assert image.info["dpi"] == (ppi, ppi)
        assert (image.info["jfif_version"], image.info["jfif_unit"]) == ((1, 2), 1)
    assert data.count(b"JFIF\0") == 1


def test_the_jfif_header_is_the_first_segment_to_the_byte() -> None:
    """T.871 clause 10.1: APP0, length 16, JFIF, version, dots an inch, the two densities, no thumbnail."""
    data = jpeg.with_tags(SOI + frame() + SCAN + b"coded" + EOI, ppi=300, icc=b"")
    assert data == SOI + bytes.fromhex("ffe00010 4a46494600 0102 01 012c 012c 0000") + frame() + SCAN + b"coded" + EOI


@pytest.mark.parametrize(("size", "count"), [(1, 1), (65_519, 1), (65_520, 2), (65_519 * 2, 2), (140_000, 3)])
def test_a_large_profile_is_cut_into_numbered_pieces(size: int, count: int) -> None:
    """ICC.1 annex B.4: 65535 bytes at most in a segment, 2 of length and 14 of header: 65519 of profile."""
    icc = bytes(at % 251 for at in range(size))
    data = jpeg.with_tags(SOI + frame() + SCAN + b"coded" + EOI, ppi=300, icc=icc)
    assert data.count(b"ICC_PROFILE\0") == count
    found = jpeg.read_parts(data)
    assert (found.icc, found.icc_problem) == (icc, None)


def test_notes_and_tables_stay_in_their_order() -> None:
    kept = segment(0xDB, bytes(65)) + segment(0xFE, b"note") + segment(0xE1, b"Exif\0\0") + frame()
    data = jpeg.with_tags(SOI + segment(0xE0, b"JFIF\0old") + kept + SCAN + b"coded" + EOI, ppi=72, icc=b"")
    assert data[20:] == kept + SCAN + b"coded" + EOI
