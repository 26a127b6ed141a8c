"""Exiv2 behind its one door, and the comparison of what a file says with what it should; read by Pillow too."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date, datetime

import pytest
from PIL import Image

from galleries.imaging import rights
from galleries.imaging.codes import Code
from galleries.imaging.errors import BadRights, Unreadable, Unsupported
from galleries.imaging.rights import engine, private, read
from galleries.imaging.rights.record import EMPTY, RightsRecord
from galleries.told import told
from tests.imaging.core_pictures import exif, painted, saved

PLAIN = saved(painted(), quality=90)
RECORD = RightsRecord(
    creators=("Ines Falk",), copyright_notice="© 2026 Ines Falk", title="Zoë 李", description="A picture",
    persons=("Tom",), license_end=date(2027, 1, 2), captured_at=datetime(2026, 2, 1, 10, 0),
)  # fmt: skip


# What a file says


def test_pillow_reads_the_exif_that_was_written() -> None:
    """CIPA DC-008: Artist 315, Copyright 33432, ImageDescription 270, DateTimeOriginal 36867 in the Exif directory."""
    with Image.open(io.BytesIO(rights.write_rights(PLAIN, RECORD))) as image:
        found = image.getexif()
    assert (found[315], found[270]) == ("Ines Falk", "A picture")
    assert found[33432].encode("latin-1").decode() == "© 2026 Ines Falk"
    assert found.get_ifd(0x8769)[36867] == "2026:02:01 10:00:00"


@pytest.mark.parametrize("file_format", ["JPEG", "PNG", "TIFF"])
def test_what_was_written_is_read_and_nothing_differs(file_format: str) -> None:
    data = rights.write_rights(saved(painted(), file_format), RECORD)
    found = rights.read_rights(data)
    assert found.record == RECORD
    assert (found.format, found.disagreements, found.private, found.problems) == (file_format, (), (), ())
    assert rights.check(data, RECORD) == []


def test_a_stripped_file_says_nothing() -> None:
    data = rights.strip_metadata(rights.write_rights(saved(painted(), exif=exif()), RECORD))
    found = rights.read_rights(data)
    assert found.empty
    assert found.record == EMPTY
    assert engine.read(data) == engine.RawMetadata()


@pytest.mark.parametrize("orientation", range(2, 9))
def test_the_orientation_stays_and_nothing_else_of_exif(orientation: int) -> None:
    data = rights.strip_metadata(saved(painted(), exif=exif(orientation=orientation, number=3)))
    with Image.open(io.BytesIO(data)) as image:
        assert dict(image.getexif()) == {0x0112: orientation}


def test_a_resolution_that_only_exif_knows_is_kept() -> None:
    block = Image.Exif()
    block[282], block[283], block[296] = 300.0, 300.0, 2
    bare = saved(painted(), exif=block)
    without_jfif = bare[:2] + bare[bare.index(b"\xff\xe1") :]
    kept = engine.read(rights.strip_metadata(without_jfif)).exif
    assert kept["Exif.Image.XResolution"] == "300/1"
    assert engine.read(rights.strip_metadata(bare)).exif == {}


# What differs


@pytest.mark.parametrize(
    ("change", "fields"),
    [
        ({"title": "Other"}, {"title", "IIM ObjectName"}),
        ({"copyright_notice": "Other"}, {"copyright_notice", "IIM Copyright", "Exif Copyright"}),
        ({"creators": ("A", "B")}, {"creators", "IIM Byline", "Exif Artist"}),
        ({"persons": ()}, {"persons"}),
        ({"license_end": None}, {"license_end"}),
        ({"marked": None}, {"marked"}),
    ],
)
def test_each_container_that_says_something_else_is_named(change: dict[str, object], fields: set[str]) -> None:
    data = rights.write_rights(PLAIN, RECORD)
    found = rights.check(data, replace(RECORD, **change))  # type: ignore[arg-type]
    assert {problem.code for problem in found} == {Code.RIGHTS_FIELD}
    assert {str(problem.data["field"]) for problem in found} == fields


def test_a_difference_shows_both_values() -> None:
    found = rights.check(rights.write_rights(PLAIN, RECORD), replace(RECORD, persons=("Tom", "Eva")))
    assert found == [told(Code.RIGHTS_FIELD, field="persons", wanted="('Tom', 'Eva')", actual="('Tom',)")]
    missing = rights.check(PLAIN, replace(EMPTY, title="T"))
    assert [(one.data["field"], one.data["wanted"], one.data["actual"]) for one in missing] == [
        ("title", "T", None), ("IIM ObjectName", "('T',)", None),
    ]  # fmt: skip


# What cannot be written or read


def test_a_record_that_cannot_stand_is_not_written() -> None:
    for call in (lambda: rights.write_rights(PLAIN, replace(RECORD, web_statement="x")),
                 lambda: rights.xmp_packet(replace(RECORD, web_statement="x"))):  # fmt: skip
        with pytest.raises(BadRights):
            call()


@pytest.mark.parametrize(
    ("data", "kind"),
    [(b"", Unsupported), (b"GIF89a", Unsupported), (b"\xff\xd8\xff\xe0", Unreadable), (PLAIN[:300], Unreadable),
     (b"\x89PNG\r\n\x1a\n" + bytes(20), Unreadable), (b"II*\0\x08\0\0\0", Unreadable)],
)  # fmt: skip
def test_no_picture_and_half_a_picture_are_told_apart(data: bytes, kind: type[Exception]) -> None:
    with pytest.raises(kind):
        rights.write_rights(data, RECORD)


# Older text


@pytest.mark.parametrize(
    ("text", "readable"), [("plain", "plain"), ("Zoë 李", "Zoë 李"), ("Zo\udceb", "Zoë"), ("\udc80 5", "€ 5"), ("", "")]
)
def test_text_that_is_no_utf8_is_taken_as_windows_1252(text: str, readable: str) -> None:
    """0xEB is ë and 0x80 € in Windows-1252 [std]; Python holds undecoded bytes as lone surrogates."""
    assert engine._readable(text) == readable


# Who is believed (Metadata Working Group 2.0: Exif, XMP unless the digest is stale, IIM) [from memory]


def settled(digest: str, **said: str) -> read._Reader:
    reader = read._Reader(engine.RawMetadata(), digest)
    reader.settle("title", said, 5)
    return reader


@pytest.mark.parametrize(
    ("digest", "said", "value", "source"),
    [
        ("none", {"Exif": "e", "XMP": "x", "IIM": "i"}, "e", "Exif"),
        ("none", {"Exif": "", "XMP": "x", "IIM": "i"}, "x", "XMP"),
        ("matches", {"XMP": "x", "IIM": "i"}, "x", "XMP"),
        ("stale", {"XMP": "x", "IIM": "i"}, "i", "IIM"),
        ("stale", {"Exif": "e", "XMP": "x", "IIM": "i"}, "e", "Exif"),
        ("none", {"IIM": "i"}, "i", "IIM"),
        ("stale", {"XMP": "longer text", "IIM": "longe"}, "longer text", "XMP"),  # cut to its limit, not changed
        ("stale", {"XMP": "longer text", "IIM": "other"}, "other", "IIM"),
    ],
)
def test_the_guidances_order_decides(digest: str, said: dict[str, str], value: str, source: str) -> None:
    reader = settled(digest, **said)
    assert (reader.values, reader.sources) == ({"title": value}, {"title": source})


def test_differences_are_told_once_for_each_that_differs() -> None:
    assert settled("none", Exif="", XMP="", IIM="").values == {}
    assert settled("none", XMP="same", IIM="same").disagreements == []
    assert settled("none", XMP="longer text", IIM="longe").disagreements == []
    (difference,) = settled("none", Exif="e", XMP="e", IIM="i").disagreements
    assert difference == told(
        Code.RIGHTS_DIFFER, field="title", source="Exif", value="e", other_source="IIM", other_value="i"
    )
    assert len(settled("none", Exif="e", XMP="x", IIM="i").disagreements) == 2


@pytest.mark.parametrize(
    ("first", "second", "agree"),
    [
        (datetime(2026, 2, 1, 10, 0, 5, 9), datetime(2026, 2, 1, 10, 0, 5), True),
        (datetime(2026, 2, 1, 10, 0, 5), datetime(2026, 2, 1, 10, 0, 6), False),
        (datetime(2026, 2, 1, 10).astimezone(), datetime(2026, 2, 1, 10), True),
        (("Falk, Ines", "B"), ("Falk,", "B"), True),
        (("Falk, Ines",), ("Falk, ", "B"), False),
        ("abcdef", "abcde", True),
        ("abcdef", "abcdef", False),
    ],
)
def test_iim_may_be_cut_and_clocks_may_lack_their_zone(first: object, second: object, agree: bool) -> None:
    assert read._agree(first, second, "IIM", 5) is agree
    assert read._agree("abcdef", "abcde", "XMP", 5) is False


# What a delivered file must not carry


@pytest.mark.parametrize(
    ("key", "code"),
    [
        ("Exif.GPSInfo.GPSLatitude", Code.PRIVATE_POSITION),
        ("Xmp.exif.GPSLongitude", Code.PRIVATE_POSITION),
        ("Exif.Photo.BodySerialNumber", Code.PRIVATE_SERIAL),
        ("Xmp.aux.LensSerialNumber", Code.PRIVATE_SERIAL),
        ("Exif.Photo.CameraOwnerName", Code.PRIVATE_OWNER),
        ("Exif.Image.HostComputer", Code.PRIVATE_OWNER),
        ("Exif.Photo.MakerNote", Code.PRIVATE_MAKER_NOTES),
        ("Exif.Thumbnail.Compression", Code.PRIVATE_THUMBNAIL),
        ("Xmp.photoshop.City", Code.PRIVATE_PLACE),
        ("Iptc.Application2.CountryName", Code.PRIVATE_PLACE),
        ("Xmp.xmpMM.History", Code.PRIVATE_HISTORY),
        ("Xmp.crs.Exposure2012", Code.PRIVATE_HISTORY),
    ],
)
def test_private_data_is_named_by_its_kind(key: str, code: Code) -> None:
    for raw in (
        engine.RawMetadata(exif={key: "x"}),
        engine.RawMetadata(iim={key: ("x",)}),
        engine.RawMetadata(xmp={key: ()}),
    ):
        assert private.private_data(raw) == (told(code),)


@pytest.mark.parametrize(
    "key", ["Exif.Image.Artist", "Xmp.dc.creator", "Iptc.Application2.Byline", "Xmp.plus.Licensor"]
)
def test_what_a_delivered_file_says_on_purpose_is_not_private(key: str) -> None:
    assert private.private_data(engine.RawMetadata(exif={key: "x"})) == ()


def test_kinds_come_once_each_in_a_fixed_order() -> None:
    raw = engine.RawMetadata(
        exif={"Exif.Photo.MakerNote": "x", "Exif.GPSInfo.GPSAltitude": "x", "Exif.GPSInfo.GPSLatitude": "x"}
    )
    assert private.private_data(raw) == (told(Code.PRIVATE_POSITION), told(Code.PRIVATE_MAKER_NOTES))
