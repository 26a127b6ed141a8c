"""What stays of a JPEG, PNG or TIFF: hand-laid containers, damaged at each place a parser looks.

ITU-T T.81, W3C PNG third edition and TIFF 6.0 [std, from memory]; Pillow reads back what is left.
"""

from __future__ import annotations

import hashlib
import io
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, PngImagePlugin, TiffImagePlugin

from galleries.imaging.codes import Code
from galleries.imaging.errors import ImagingError, Unreadable, Unsupported
from galleries.imaging.rights import read, strip
from tests.imaging.core_pictures import exif, painted, saved

SOI, EOI = b"\xff\xd8", b"\xff\xd9"


def refused(kind: type[ImagingError], data: bytes) -> str:
    with pytest.raises(kind) as caught:
        strip.strip(data)
    return caught.value.told.code


@pytest.mark.parametrize(
    ("data", "kind"),
    [(b"\xff\xd8\xff", "JPEG"), (b"\x89PNG\r\n\x1a\n", "PNG"), (b"II*\0", "TIFF"), (b"MM\0*", "TIFF")],
)
def test_the_content_decides(data: bytes, kind: str) -> None:
    assert strip.kind_of(data) == kind


@pytest.mark.parametrize("data", [b"", b"\xff\xd8", b"GIF89a", b"II+\0", b"\x89PNG"])
def test_other_files_are_refused(data: bytes) -> None:
    assert refused(Unsupported, data) == Code.RIGHTS_KIND


# JPEG


def segment(marker: int, payload: bytes = b"") -> bytes:
    return bytes((0xFF, marker)) + struct.pack(">H", len(payload) + 2) + payload


SCAN = segment(0xDA, b"\x01\x01\0\0\x3f\0") + b"coded\xff\x00\xff\xd3more"


def test_a_jpeg_is_walked_segment_by_segment_to_its_first_end() -> None:
    data = SOI + b"\xff\xff" + segment(0xDB, b"q") + b"\xff\x01" + SCAN + segment(0xC4, b"h") + SCAN + EOI + b"after"
    assert list(strip.jpeg_segments(data)) == [
        (0xDB, segment(0xDB, b"q")), (0x01, b"\xff\x01"), (0xDA, SCAN), (0xC4, segment(0xC4, b"h")), (0xDA, SCAN),
        (0xD9, EOI),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("rest", "code"),
    [
        (b"", Code.RIGHTS_JPEG_DAMAGED),
        (b"\xff", Code.RIGHTS_JPEG_DAMAGED),
        (b"xx" + EOI, Code.RIGHTS_JPEG_DAMAGED),
        (b"\xff\xe0\x00", Code.RIGHTS_JPEG_DAMAGED),
        (b"\xff\xe0\x00\x00" + EOI, Code.RIGHTS_JPEG_DAMAGED),  # the length counts its own two bytes
        (b"\xff\xe0\x00\x01x" + EOI, Code.RIGHTS_JPEG_DAMAGED),
        (b"\xff\xda\x00\x00coded" + EOI, Code.RIGHTS_JPEG_DAMAGED),
        (b"\xff\xe0\x00\x09short", Code.RIGHTS_JPEG_DAMAGED),
        (segment(0xDB, b"q"), Code.RIGHTS_JPEG_DAMAGED),
        (SCAN, Code.RIGHTS_JPEG_BREAKS),
        (SCAN + b"\xff", Code.RIGHTS_JPEG_BREAKS),
    ],
)
def test_a_jpeg_damaged_at_any_place_is_refused(rest: bytes, code: Code) -> None:
    with pytest.raises(Unreadable) as caught:
        list(strip.jpeg_segments(SOI + rest))
    assert caught.value.told.code == code


def test_nothing_of_a_segment_that_is_cut_off_is_given() -> None:
    with pytest.raises(Unreadable):
        next(strip.jpeg_segments(SOI + b"\xff\xe0\x00\x09short"))


def test_of_the_application_segments_only_what_pixels_need_stays() -> None:
    icc, adobe = segment(0xE2, b"ICC_PROFILE\0\1\1x"), segment(0xEE, b"Adobe\0d\0\0\0\0\0\1")
    gone = [
        segment(0xE1, b"Exif\0\0II*\0"), segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0"), segment(0xE2, b"MPF\0"),
        segment(0xED, b"Photoshop 3.0\0"), segment(0xEE, b"Other"), segment(0xFE, b"a note"), segment(0xE0, b"JFXX\0x"),
        segment(0xE0, b"JFIF\0\1\2\1"), segment(0xEF, b"x"),
    ]  # fmt: skip
    tables = segment(0xDB, b"q") + segment(0xC0, b"f") + segment(0xDD, b"\0\4")
    stripped = strip.strip(SOI + b"".join(gone) + icc + adobe + tables + SCAN + EOI)
    assert stripped == SOI + icc + adobe + tables + SCAN + EOI


def test_the_density_stays_and_its_thumbnail_goes() -> None:
    """T.871 clause 10.1: JFIF, version, unit, two densities, then width, height and pixels of a thumbnail."""
    head = b"JFIF\0\1\2\1\x01\x2c\x01\x2c"
    kept = segment(0xE0, head + b"\0\0")
    for thumbnail in (b"\0\0", b"\1\1abc"):
        assert strip.strip(SOI + segment(0xE0, head + thumbnail) + SCAN + EOI) == SOI + kept + SCAN + EOI


# PNG


SIGNATURE = b"\x89PNG\r\n\x1a\n"


def chunk(name: bytes, body: bytes = b"") -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


@pytest.mark.parametrize("name", [b"tEXt", b"zTXt", b"iTXt", b"eXIf", b"tIME", b"prVt", b"hIST", b"sPLT", b"bKGD"])
def test_chunks_that_tell_of_the_picture_go(name: bytes) -> None:
    rest = chunk(b"IHDR", b"h") + chunk(b"IDAT", b"d") + chunk(b"IEND")
    assert strip.strip(SIGNATURE + chunk(name, b"private") + rest + b"after the end") == SIGNATURE + rest


@pytest.mark.parametrize("name", [b"PLTE", b"tRNS", b"iCCP", b"sRGB", b"gAMA", b"cHRM", b"sBIT", b"pHYs", b"cICP"])
def test_chunks_that_say_how_pixels_look_stay(name: bytes) -> None:
    data = SIGNATURE + chunk(b"IHDR", b"h") + chunk(name, b"value") + chunk(b"IDAT", b"d") + chunk(b"IEND")
    assert strip.strip(data) == data


@pytest.mark.parametrize("cut", [1, 4, 11, 12, 13])
def test_a_png_that_breaks_off_is_refused(cut: int) -> None:
    data = SIGNATURE + chunk(b"IHDR", b"h") + chunk(b"IEND")
    assert refused(Unreadable, data[:-cut]) == Code.RIGHTS_PNG_BREAKS


def test_a_chunk_longer_than_the_file_is_refused() -> None:
    data = SIGNATURE + struct.pack(">I", 2**31) + b"IHDR" + chunk(b"IEND")
    assert refused(Unreadable, data) == Code.RIGHTS_PNG_BREAKS


# TIFF


ORDERS = ("<", ">")


def tiff(order: str, entries: list[tuple[int, int, int, bytes]], rest: bytes = b"") -> bytes:
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", 8)
    body = b"".join(struct.pack(order + "HHI", tag, kind, n) + value for tag, kind, n, value in entries)
    return head + struct.pack(order + "H", len(entries)) + body + bytes(4) + rest


@pytest.mark.parametrize("order", ORDERS)
def test_a_directory_is_read_with_the_bytes_of_its_values(order: str) -> None:
    at = 8 + 2 + 3 * 12 + 4
    entries = [
        (256, 3, 1, struct.pack(order + "HH", 7, 0)),
        (282, 5, 1, struct.pack(order + "I", at)),
        (315, 2, 3, b"ab\0\0"),
    ]
    found = strip.tiff_entries(tiff(order, entries, b"ABCDEFGH"))
    assert found == (
        order, {256: (3, 1, struct.pack(order + "H", 7)), 282: (5, 1, b"ABCDEFGH"), 315: (2, 3, b"ab\0")},
    )  # fmt: skip


@pytest.mark.parametrize("order", ORDERS)
def test_an_entry_past_the_end_is_named(order: str) -> None:
    data = tiff(order, [(315, 2, 9, struct.pack(order + "I", 18))])
    with pytest.raises(Unreadable) as caught:
        strip.tiff_entries(data)
    assert (caught.value.told.code, caught.value.told.data) == (Code.RIGHTS_TIFF_ENTRY, {"entry": 315})
    assert strip.tiff_entries(data + b"x")[1][315][2].endswith(b"x")


@pytest.mark.parametrize("cut", [4, 9, 15])
def test_a_tiff_without_its_directory_is_refused(cut: int) -> None:
    assert refused(Unreadable, tiff("<", [(315, 2, 3, b"ab\0\0")])[:cut]) == Code.RIGHTS_TIFF_DAMAGED


LONG_1 = struct.pack("<I", 1)


@pytest.mark.parametrize(
    ("entries", "kind", "code"),
    [
        ([(256, 4, 1, LONG_1)], Unreadable, Code.RIGHTS_TIFF_NO_PIXELS),
        ([(273, 4, 1, LONG_1)], Unreadable, Code.RIGHTS_TIFF_NO_PIXELS),
        ([(279, 4, 1, LONG_1)], Unreadable, Code.RIGHTS_TIFF_NO_PIXELS),
        ([(259, 3, 1, b"\6\0\0\0"), (273, 4, 1, LONG_1), (279, 4, 1, LONG_1)], Unsupported, Code.RIGHTS_TIFF_OLD_JPEG),
        ([(273, 4, 1, LONG_1), (279, 4, 1, struct.pack("<I", 999))], Unreadable, Code.RIGHTS_TIFF_PIXELS),
        ([(273, 2, 1, LONG_1), (279, 4, 1, LONG_1)], Unreadable, Code.RIGHTS_TIFF_NUMBER),
    ],
)
def test_a_tiff_without_usable_pixels_is_refused(
    entries: list[tuple[int, int, int, bytes]], kind: type[ImagingError], code: Code
) -> None:
    assert refused(kind, tiff("<", entries)) == code


@pytest.mark.parametrize("compression", [None, "tiff_lzw", "tiff_adobe_deflate"])
def test_pillow_sees_the_same_pixels_and_only_what_they_need(compression: str | None) -> None:
    info = TiffImagePlugin.ImageFileDirectory_v2()
    info[315], info[270], info[305], info[274] = "An artist", "A description", "A program", 6
    icc = bytes(range(200))
    data = saved(painted(), "TIFF", tiffinfo=info, compression=compression, dpi=(300, 300), icc_profile=icc)
    stripped = strip.strip(data)
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(stripped)) as after:
        assert set(before.tag_v2) - set(after.tag_v2) == {315, 270, 305}
        assert (after.tag_v2[274], after.info["dpi"], after.info["icc_profile"]) == (6, (300, 300), icc)
        assert np.array_equal(np.asarray(before), np.asarray(after))  # Pillow turns it upright now, and drops tag 274
    assert strip.strip(stripped) == stripped


def test_pillow_sees_the_same_png_without_its_texts() -> None:
    texts = PngImagePlugin.PngInfo()
    texts.add_text("Author", "somebody")
    data = saved(painted(), "PNG", pnginfo=texts, exif=exif(), dpi=(300, 300), icc_profile=b"x" * 40)
    with Image.open(io.BytesIO(data)) as before, Image.open(io.BytesIO(strip.strip(data))) as after:
        assert np.array_equal(np.asarray(before), np.asarray(after))
        assert set(before.info) - set(after.info) == {"Author", "exif"}
        assert after.info["icc_profile"] == b"x" * 40


# The digest beside IIM: Photoshop's image resources (8BIM, number, Pascal name, size, data; even) [from memory]


def resource(number: int, data: bytes, name: bytes = b"") -> bytes:
    label = bytes((len(name),)) + name
    label += b"\0" * (len(label) % 2)
    return b"8BIM" + struct.pack(">H", number) + label + struct.pack(">I", len(data)) + data + b"\0" * (len(data) % 2)


@pytest.mark.parametrize("name", [b"", b"a", b"ab", b"abc"])
@pytest.mark.parametrize("data", [b"", b"x", b"xy"])
def test_resources_are_read_whatever_their_names_and_padding(name: bytes, data: bytes) -> None:
    block = resource(0x0404, data, name) + resource(0x0425, b"digest")
    assert read._photoshop_resources(block) == {0x0404: data, 0x0425: b"digest"}


def test_resources_end_where_they_stop_being_ones() -> None:
    first = resource(1, b"xy")
    assert read._photoshop_resources(first + b"8BIX" + bytes(20)) == {1: b"xy"}
    assert read._photoshop_resources(first + resource(2, b"")[:11]) == {1: b"xy"}
    assert read._photoshop_resources(first + b"8BIM\0\2\xff" + bytes(20)) == {1: b"xy"}
    assert read._photoshop_resources(b"") == {}


@pytest.mark.parametrize(
    ("stored", "expected"),
    [
        (hashlib.md5(b"iim!", usedforsecurity=False).digest(), "matches"),
        (hashlib.md5(b"other", usedforsecurity=False).digest(), "stale"),
        (bytes(16), "none"),
        (None, "none"),
    ],
)
def test_a_digest_matches_is_stale_or_is_not_there(stored: bytes | None, expected: str) -> None:
    block = resource(0x0404, b"iim!") + (resource(0x0425, stored) if stored is not None else b"")
    jpeg = SOI + segment(0xED, b"Photoshop 3.0\0" + block) + SCAN + EOI
    assert read.iim_digest("JPEG", jpeg) == expected
    assert (
        read.iim_digest("JPEG", SOI + segment(0xED, b"Photoshop 3.0\0" + resource(0x0425, b"d" * 16)) + SCAN + EOI)
        == "none"
    )
    assert read.iim_digest("PNG", SIGNATURE) == "none"
