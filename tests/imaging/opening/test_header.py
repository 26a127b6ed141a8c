"""Before a picture is decoded: what it is, whether it is too large, at which scale, and how it will be turned."""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from galleries.imaging.codes import Code
from galleries.imaging.colour import profiles
from galleries.imaging.errors import ImagingError, TooLarge, Unreadable, Unsupported
from galleries.imaging.opening import decode, formats
from galleries.imaging.opening.formats import Header
from galleries.imaging.opening.picture import FrameFacts, Limits
from galleries.told import told
from tests.imaging.core_pictures import exif, painted, saved

LIMITS = Limits(max_bytes=1000, max_pixels=6000, max_side=100)


def header(width: int = 60, height: int = 40, kind: str = "JPEG", **values: object) -> Header:
    return Header(kind, width, height, **{"bits": 8, "space": "RGB", **values})  # type: ignore[arg-type]


# What it is


# First bytes: T.81 (SOI and a marker), PNG third edition 5.2, TIFF 6.0 and BigTIFF, ISO/IEC 23008-12 brands
# [std, from memory].
@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"\xff\xd8\xff\xdb", "JPEG"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"II*\0", "TIFF"),
        (b"MM\0*", "TIFF"),
        (b"II+\0", "TIFF"),
        (b"MM\0+", "TIFF"),
        *((b"\0\0\0\x18ftyp" + brand, "HEIF") for brand in (b"heic", b"heix", b"mif1", b"hevc", b"msf1", b"heim")),
    ],
)
def test_the_first_bytes_say_what_it_is(data: bytes, kind: str) -> None:
    assert formats.sniff(data + bytes(40)) == kind


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", Code.EMPTY),
        (b"\0", Code.NO_PICTURE),
        (b"\xff\xd8\x00", Code.NO_PICTURE),
        (b" \xff\xd8\xff", Code.NO_PICTURE),
        (b"\x89PNG\n\x1a\n ", Code.NO_PICTURE),  # a transfer in text mode changed the line's end
        (b"II\0*", Code.NO_PICTURE),
        (b"MM*\0", Code.NO_PICTURE),
        (b"\0\0\0\x18ftypavif", Code.NO_PICTURE),
        (b"\0\0\0\x18ftypheic"[1:], Code.NO_PICTURE),
        (b"RIFF\0\0\0\0WEBP", Code.NO_PICTURE),
    ],
)
def test_everything_else_is_no_picture_for_us(data: bytes, code: Code) -> None:
    with pytest.raises(Unsupported) as caught:
        formats.sniff(data)
    assert caught.value.told.code == code


@pytest.mark.parametrize(("space", "alpha", "mode"), [("RGB", False, "RGB"), ("GRAY", True, "GRAYA")])
def test_a_mode_says_whether_it_is_transparent(space: str, alpha: bool, mode: str) -> None:
    assert header(space=space, alpha=alpha).mode == mode


# Limits


def refusal(width: int, height: int) -> tuple[type[ImagingError], str] | None:
    try:
        decode._check_size(header(width, height), LIMITS)
    except ImagingError as error:
        return type(error), error.told.code
    return None


@pytest.mark.parametrize(
    ("size", "expected"),
    [
        ((100, 60), None),
        ((60, 100), None),
        ((1, 1), None),
        ((101, 1), (TooLarge, Code.SIDE_TOO_LONG)),
        ((1, 101), (TooLarge, Code.SIDE_TOO_LONG)),
        ((100, 61), (TooLarge, Code.TOO_MANY_PIXELS)),
        ((61, 100), (TooLarge, Code.TOO_MANY_PIXELS)),
        ((0, 5), (Unreadable, Code.NO_SIZE)),
        ((5, 0), (Unreadable, Code.NO_SIZE)),
        ((0, 0), (Unreadable, Code.NO_SIZE)),
    ],
)
def test_sizes_at_and_over_the_limits(size: tuple[int, int], expected: object) -> None:
    assert refusal(*size) == expected


def test_a_refusal_says_how_large_and_how_much_is_allowed() -> None:
    with pytest.raises(TooLarge) as caught:
        decode._check_size(header(90, 80), LIMITS)
    assert caught.value.told.data == {
        "kind": "JPEG", "width_px": 90, "height_px": 80, "size_pixels": 7200, "most_pixels": 6000,
    }  # fmt: skip


def test_bytes_are_counted_before_they_are_read(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    for size, fits in ((1000, True), (1001, False)):
        path.write_bytes(bytes(size))
        for source in (path, path.read_bytes()):
            if fits:
                assert decode.load_bytes(source, LIMITS) == bytes(size)
                continue
            with pytest.raises(TooLarge) as caught:
                decode.load_bytes(source, LIMITS)
            assert caught.value.told.data == {"size_bytes": size, "most_bytes": 1000}


@pytest.mark.parametrize(("name", "error"), [("missing.jpg", "ENOENT"), ("folder", "EISDIR")])
def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, name: str, error: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(Unreadable) as caught:
        decode.load_bytes(tmp_path / name, Limits())
    assert caught.value.told.data == {"name": name, "error": error}


# Scale


@pytest.mark.parametrize(
    ("at_least", "scale"),
    [
        (None, 1.0),
        (1, 0.125),
        (750, 0.125),
        (751, 0.25),
        (1500, 0.25),
        (1501, 0.5),
        (3000, 0.5),
        (3001, 1.0),
        (9000, 1.0),
    ],
)
def test_the_smallest_scale_that_still_has_the_pixels(at_least: int | None, scale: float) -> None:
    """libjpeg decodes at 1/1, 1/2, 1/4 and 1/8 [lib]."""
    for size in ((6000, 4000), (4000, 6000)):
        assert decode._scale_for(header(*size), at_least) == scale


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "HEIF"])
def test_only_jpeg_is_decoded_smaller(kind: str) -> None:
    assert decode._scale_for(header(6000, 4000, kind), 10) == 1.0


# Turning


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pictures_are_turned_as_pillow_turns_them(orientation: int) -> None:
    stored = painted(33, 150)  # more rows than are turned at a time, either way
    with Image.open(io.BytesIO(saved(stored, "PNG", exif=exif(orientation=orientation)))) as image:
        shown = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(decode.turn_upright(stored, orientation), shown)
    assert np.array_equal(decode.view_upright(stored, orientation), shown)


def test_upright_pictures_are_not_copied() -> None:
    stored = painted(33, 20)
    assert decode.turn_upright(stored, 1) is stored
    assert all(np.shares_memory(decode.view_upright(stored, turned), stored) for turned in range(1, 9))


# Colours


P3 = profiles.build("Display P3")
BROKEN = told(Code.PROFILE_PIECES)


@pytest.mark.parametrize(
    ("values", "exif_colour", "name", "assumed"),
    [
        ({}, "", "sRGB", True),
        ({}, "sRGB", "sRGB", True),
        ({}, "Adobe RGB", "Adobe RGB, as EXIF says (R03)", False),
        ({"space": "GRAY"}, "Adobe RGB", "sRGB", True),
        ({"space": "CMYK"}, "", "CMYK without profile", True),
        ({"icc": P3}, "Adobe RGB", "Display P3 compatible", False),
        ({"icc_problem": BROKEN}, "Adobe RGB", "sRGB", True),
        ({"icc": b"no profile at all"}, "Adobe RGB", "sRGB", True),
        ({"named_space": "Display P3"}, "Adobe RGB", "Display P3", False),
        ({"named_space": "Display P3", "icc_problem": BROKEN}, "", "sRGB", True),
    ],
)
def test_whose_word_counts_for_the_colours(
    values: dict[str, object], exif_colour: str, name: str, assumed: bool
) -> None:
    verdict, is_assumed = decode._judge_profile(header(**values), exif_colour)  # type: ignore[arg-type]
    assert (verdict.name, is_assumed) == (name, assumed)
    assert bool(verdict.icc) == (not assumed)
    assert (verdict.problem is not None) == ("icc_problem" in values or values.get("icc") == b"no profile at all")


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, [119, 119, 119]),
        ({"bits": 16}, [119 * 257] * 3),
        ({"space": "GRAY"}, [119]),
        ({"space": "GRAY", "bits": 16}, [119 * 257]),
        ({"space": "CMYK"}, [0, 0, 0, 136]),
        ({"space": "CMYK", "bits": 16}, [0, 0, 0, 136 * 257]),
    ],
)
def test_what_is_transparent_lies_on_mid_grey(values: dict[str, object], expected: list[float]) -> None:
    """16 bits are 8 bits × 257, so that white stays white: 255 × 257 = 65535."""
    assert formats._surround(header(**values), b"") == expected  # type: ignore[arg-type]


def test_mid_grey_is_meant_in_the_pictures_own_colours() -> None:
    wide = formats._surround(header(), profiles.build("ProPhoto RGB"))
    assert len(wide) == 3
    assert wide != [119, 119, 119]
    assert max(wide) - min(wide) <= 2  # grey stays grey


# Facts kept as JSON


FACTS = FrameFacts(
    "JPEG",
    40,
    60,
    6,
    8,
    "RGB",
    "sRGB",
    True,
    told(Code.PROFILE_PIECES),
    datetime(2026, 3, 14, 10, 11, 12, 5),
    "N 24",
    7,
)


def test_facts_come_back_from_json() -> None:
    plain = FACTS.as_dict()
    assert plain["captured_at"] == "2026-03-14T10:11:12.000005"
    assert FrameFacts.from_dict(plain) == FACTS


def test_facts_that_are_absent_stay_absent() -> None:
    bare = FrameFacts("PNG", 1, 2, 1, 16, "RGBA", "P3", False)
    plain = bare.as_dict()
    assert (plain["captured_at"], plain["profile_problem"], plain["frame_number"]) == (None, None, None)
    assert FrameFacts.from_dict(plain) == bare


def test_facts_of_an_older_row_without_the_later_fields_are_read() -> None:
    plain = FACTS.as_dict()
    del plain["captured_at"], plain["profile_problem"]
    found = FrameFacts.from_dict(plain)
    assert (found.captured_at, found.profile_problem) == (None, None)
    assert found.camera == "N 24"
