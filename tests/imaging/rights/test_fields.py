"""Where each field stands and how it is written: XMP values, IIM datasets cut to bytes, Exif tags, XMP packets.

IPTC Photo Metadata Standard 2025.1, IIM 4.2, Exif 2.32, ISO 16684-1 and RFC 3629 [std]; test_reference holds the
table itself against the published technical reference.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadRights
from galleries.imaging.rights import fields, vocabulary
from galleries.imaging.rights.record import EMPTY, Licensor, Party, RightsRecord, problems_of, shown
from galleries.imaging.rights.xmp import NAMESPACES, Bag, Lang, Seq, packet

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"


# Bytes and artists


@pytest.mark.parametrize(
    ("text", "limit", "cut"),
    [
        ("abc", 3, "abc"),
        ("abcd", 3, "abc"),
        ("ab cd", 3, "ab"),
        ("aé", 2, "a"),  # é is two bytes in UTF-8
        ("aé", 3, "aé"),
        ("李小", 5, "李"),  # three bytes each
        ("😀a", 3, ""),
        ("", 0, ""),
        (" ab ", 4, " ab "),
    ],
)
def test_a_text_is_cut_on_a_whole_character(text: str, limit: int, cut: str) -> None:
    assert fields.cut_bytes(text, limit) == cut


@given(st.text(max_size=12), st.integers(0, 20))
def test_a_cut_text_is_the_longest_start_that_has_room(text: str, limit: int) -> None:
    text = text.strip()
    cut = fields.cut_bytes(text, limit)
    assert text.startswith(cut)
    assert len(cut.encode()) <= limit
    whole = next(at for at in range(len(text), -1, -1) if len(text[:at].encode()) <= limit)
    assert cut == (text if whole == len(text) else text[:whole].rstrip())


NAMES: list[tuple[tuple[str, ...], str]] = [
    (("Ines Falk",), "Ines Falk"),
    (("Ines Falk", "Tom Bergson"), "Ines Falk; Tom Bergson"),
    (("Falk; Bergson", "Tom"), '"Falk; Bergson"; Tom'),
    (('"Ines" Falk',), '"""Ines"" Falk"'),
    (('Ines "I" Falk',), 'Ines "I" Falk'),
    (("Falk, Ines",), "Falk, Ines"),
]


@pytest.mark.parametrize(("names", "text"), NAMES)
def test_several_artists_share_exifs_one_field(names: tuple[str, ...], text: str) -> None:
    """Metadata Working Group 2.0: '; ' between, a name with a semicolon or a leading quote is quoted [from memory]."""
    assert fields.join_artists(names) == text
    assert fields.split_artists(text) == names


@pytest.mark.parametrize(
    ("text", "names"),
    [("", ()), (" ; ;", ()), ("a;b", ("a", "b")), ("  a  ;  b  ", ("a", "b")), ("a;", ("a",)), ('"', ('"',))],
)
def test_artists_of_other_programs_are_read(text: str, names: tuple[str, ...]) -> None:
    assert fields.split_artists(text) == names


# XMP values


RECORD = RightsRecord(
    creators=("A", "B"), title="T", credit_line="C", data_mining="DMI-PROHIBITED", model_release_status="MR-LMR",
    model_release_ids=("r1",), alteration_constraints=("AL-CRP", "AL-FLP"), persons=("P",), marked=False,
    digital_source_type="humanEdits", license_start=date(2026, 1, 2), license_end=date(2027, 3, 4),
    copyright_owners=(Party("O", "id-1"),), licensors=(Licensor("L", "a@b.example", identifier="id-2"),),
)  # fmt: skip


def test_texts_lists_and_codes_have_the_shape_of_the_standard() -> None:
    found = fields.to_xmp(RECORD)
    assert found["dc:creator"] == Seq(["A", "B"])
    assert found["dc:title"] == Lang("T")
    assert found["photoshop:Credit"] == "C"
    assert found["plus:DataMining"] == "http://ns.useplus.org/ldf/vocab/DMI-PROHIBITED"
    assert found["plus:ModelReleaseStatus"] == "http://ns.useplus.org/ldf/vocab/MR-LMR"
    assert found["plus:ModelReleaseID"] == Bag(["r1"])
    assert found["plus:ImageAlterationConstraints"] == Bag(
        [f"http://ns.useplus.org/ldf/vocab/{code}" for code in ("AL-CRP", "AL-FLP")]
    )
    assert found["Iptc4xmpExt:DigitalSourceType"] == "http://cv.iptc.org/newscodes/digitalsourcetype/humanEdits"
    assert found["xmpRights:Marked"] == "False"
    assert (found["plus:LicenseStartDate"], found["plus:LicenseEndDate"]) == ("2026-01-02", "2027-03-04")


def test_people_are_structures_without_empty_parts() -> None:
    found = fields.to_xmp(RECORD)
    assert found["plus:CopyrightOwner"] == Seq([{"plus:CopyrightOwnerID": "id-1", "plus:CopyrightOwnerName": "O"}])
    assert found["plus:Licensor"] == Seq(
        [{"plus:LicensorID": "id-2", "plus:LicensorName": "L", "plus:LicensorEmail": "a@b.example"}]
    )


def test_an_empty_record_writes_nothing() -> None:
    assert fields.to_xmp(EMPTY) == {}
    assert fields.to_iim(EMPTY) == []
    assert fields.to_exif(EMPTY) == {}


@pytest.mark.parametrize(("marked", "text"), [(True, "True"), (False, "False")])
def test_marked_is_a_boolean_of_xmp(marked: bool, text: str) -> None:
    """ISO 16684-1: Boolean values are the words True and False."""
    assert fields.to_xmp(replace(EMPTY, marked=marked)) == {"xmpRights:Marked": text}


MOMENTS = [
    (datetime(2026, 2, 1, 10, 0), "2026-02-01T10:00:00"),
    (datetime(2026, 2, 1, 10, 0, 5, 250_000), "2026-02-01T10:00:05.25"),
    (datetime(2026, 2, 1, 10, 0, tzinfo=UTC), "2026-02-01T10:00:00+00:00"),
    (datetime(2026, 2, 1, 10, 0, 0, 100, timezone(timedelta(hours=-5))), "2026-02-01T10:00:00.0001-05:00"),
]


@pytest.mark.parametrize(("moment", "text"), MOMENTS)
def test_a_moment_is_iso_8601_without_useless_zeros(moment: datetime, text: str) -> None:
    assert fields.to_xmp(replace(EMPTY, captured_at=moment)) == {"photoshop:DateCreated": text}


# IIM


def test_iim_says_utf8_first_and_cuts_each_name_by_itself() -> None:
    """IIM 4.2: 1:90 is ESC % G for UTF-8; By-line 32 bytes, Object Name 64, Caption 2000, Copyright 128."""
    found = fields.to_iim(
        replace(EMPTY, creators=("é" * 17, "B"), title="t" * 65, description="d" * 2001, copyright_notice="c" * 129)
    )
    assert found == [
        ("Iptc.Envelope.CharacterSet", "\x1b%G"),
        ("Iptc.Application2.Byline", "é" * 16),
        ("Iptc.Application2.Byline", "B"),
        ("Iptc.Application2.Copyright", "c" * 128),
        ("Iptc.Application2.ObjectName", "t" * 64),
        ("Iptc.Application2.Caption", "d" * 2000),
    ]


@pytest.mark.parametrize(
    ("zone", "time"),
    [(None, []), (UTC, ["10:00:05+00:00"]), (timezone(timedelta(hours=5, minutes=30)), ["10:00:05+05:30"]),
     (timezone(timedelta(hours=-8)), ["10:00:05-08:00"])],
)  # fmt: skip
def test_a_clock_without_a_zone_is_given_none(zone: timezone | None, time: list[str]) -> None:
    """IIM 4.2, 2:60: the time has to carry its offset, so without one only the day is written."""
    found = dict(fields.to_iim(replace(EMPTY, captured_at=datetime(2026, 2, 1, 10, 0, 5, tzinfo=zone))))
    assert found["Iptc.Application2.DateCreated"] == "2026-02-01"
    assert [found[key] for key in found if key.endswith("TimeCreated")] == time


# Exif


def test_exif_has_texts_and_moment_in_its_own_form() -> None:
    found = fields.to_exif(
        replace(EMPTY, description="D", creators=("A", "B"), copyright_notice="C", image_guid="a" * 32,
                captured_at=datetime(2026, 2, 1, 10, 0, 5, 250_000, timezone(timedelta(hours=-3, minutes=-30))))
    )  # fmt: skip
    assert found == {
        "Exif.Image.ImageDescription": "D",
        "Exif.Image.Artist": "A; B",
        "Exif.Image.Copyright": "C",
        "Exif.Photo.DateTimeOriginal": "2026:02:01 10:00:05",
        "Exif.Photo.SubSecTimeOriginal": "25",
        "Exif.Photo.OffsetTimeOriginal": "-03:30",
        "Exif.Photo.ImageUniqueID": "a" * 32,
        "Exif.Photo.ExifVersion": "48 50 51 50",  # CIPA DC-008: 0232 in ASCII
    }


@pytest.mark.parametrize("guid", ["a" * 31, "a" * 33, "A" * 32, "g" * 32, "a" * 32 + "\n"])
def test_only_what_exif_can_hold_becomes_its_unique_number(guid: str) -> None:
    """CIPA DC-008, ImageUniqueID: 32 hexadecimal digits; ours are in lower case."""
    assert fields.to_exif(replace(EMPTY, image_guid=guid)) == {}


def test_the_version_is_written_only_with_its_directory() -> None:
    assert fields.to_exif(replace(EMPTY, copyright_notice="C")) == {"Exif.Image.Copyright": "C"}
    whole = fields.to_exif(replace(EMPTY, captured_at=datetime(2026, 2, 1)))
    assert set(whole) == {"Exif.Photo.DateTimeOriginal", "Exif.Photo.ExifVersion"}


# The packet


def description(text: str) -> ElementTree.Element:
    """The rdf:Description, read by the standard library's parser (our own packet, not a stranger's)."""
    (found,) = ElementTree.fromstring(text).iter(RDF + "Description")  # noqa: S314
    return found


def test_the_packet_is_xml_in_the_namespaces_it_uses() -> None:
    """ISO 16684-1, 7.3: the wrapper's id is W5M0MpCehiHzreSzNTczkc9d, read-only packets end in w or r."""
    text = packet({"dc:title": Lang("a < b & c"), "photoshop:Credit": "x > y"})
    assert text.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>')
    assert text.endswith('<?xpacket end="w"?>')
    title, credit = description(text)
    assert (title.tag, credit.tag) == (f"{{{NAMESPACES['dc']}}}title", f"{{{NAMESPACES['photoshop']}}}Credit")
    assert credit.text == "x > y"
    (item,) = title.iter(RDF + "li")
    assert item.text == "a < b & c"
    assert item.attrib == {"{http://www.w3.org/XML/1998/namespace}lang": "x-default"}
    assert "xmlns:plus" not in text


@pytest.mark.parametrize(("value", "kind"), [(Seq(["a", "b<"]), "Seq"), (Bag(["a", "b<"]), "Bag")])
def test_arrays_keep_their_kind_and_order(value: Seq | Bag, kind: str) -> None:
    (element,) = description(packet({"dc:subject": value}))
    (array,) = element
    assert array.tag == RDF + kind
    assert [item.text for item in array] == ["a", "b<"]


def test_structures_bring_their_own_namespaces() -> None:
    (element,) = description(packet({"dc:creator": Seq([{"plus:LicensorName": "A & B", "xmp:Rating": "1"}])}))
    (item,) = element.iter(RDF + "li")
    assert item.attrib == {RDF + "parseType": "Resource"}
    assert {part.tag: part.text for part in item} == {
        f"{{{NAMESPACES['plus']}}}LicensorName": "A & B",
        f"{{{NAMESPACES['xmp']}}}Rating": "1",
    }


def test_an_unknown_namespace_is_refused() -> None:
    with pytest.raises(KeyError):
        packet({"other:thing": "x"})


# The record


def codes(**values: object) -> list[str]:
    return [problem.code for problem in problems_of(replace(EMPTY, **values))]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ({}, []),
        ({"alt_text": "a" * 250}, []),
        ({"alt_text": "a" * 251}, [Code.RIGHTS_ALT_TEXT]),
        ({"license_start": date(2026, 1, 2), "license_end": date(2026, 1, 2)}, []),
        ({"license_start": date(2026, 1, 2), "license_end": date(2026, 1, 1)}, [Code.RIGHTS_ENDS_FIRST]),
        ({"license_end": date(2026, 1, 1)}, []),
        ({"data_mining": "DMI-PROHIBITED-SEECONSTRAINT"}, [Code.RIGHTS_NO_CONSTRAINT]),
        ({"data_mining": "DMI-PROHIBITED-SEECONSTRAINT", "other_constraints": "x"}, []),
        ({"data_mining": "dmi-prohibited"}, [Code.RIGHTS_NO_CODE]),
        ({"model_release_status": "MR"}, [Code.RIGHTS_NO_CODE]),
        ({"minor_age": "AG-A14"}, [Code.RIGHTS_NO_CODE]),
        ({"minor_age": "AG-A15"}, []),
        ({"digital_source_type": "painted"}, [Code.RIGHTS_NO_CODE]),
        ({"alteration_constraints": ("AL-CRP", "AL-X", "AL-Y")}, [Code.RIGHTS_NO_CODE] * 2),
        ({"web_statement": "https://a.example/x"}, []),
        ({"web_statement": "a.example"}, [Code.RIGHTS_NO_ADDRESS]),
        ({"terms_url": "https://a.example/x y"}, [Code.RIGHTS_NO_ADDRESS]),
        ({"terms_url": "javascript:alert(1)"}, [Code.RIGHTS_NO_ADDRESS]),
        (
            {"licensors": (Licensor("L"), Licensor(""), Licensor("", "a@b.example"))},
            [Code.RIGHTS_NAMELESS_LICENSOR] * 2,
        ),
        ({"title": "a\x00b"}, [Code.RIGHTS_CONTROL]),
        ({"title": "a\tb\nc"}, []),
        ({"persons": ("ok", "b\x7f")}, [Code.RIGHTS_CONTROL]),
        ({"licensors": (Licensor("L", url="\x1b"),)}, [Code.RIGHTS_CONTROL]),
        ({"copyright_owners": (Party("L", "\ud800"),)}, [Code.RIGHTS_CONTROL]),
    ],
)
def test_each_contradiction_of_a_record_has_its_code(values: dict[str, object], expected: list[Code]) -> None:
    assert codes(**values) == expected


def test_a_bad_record_tells_all_its_problems() -> None:
    with pytest.raises(BadRights) as caught:
        replace(EMPTY, alt_text="a" * 300, web_statement="x").validate()
    told = caught.value.told
    assert (told.code, told.data) == (Code.RIGHTS_ALT_TEXT, {"signs": 300, "most": 250})
    assert [more.data for more in told.more] == [{"field": "web_statement", "value": "x"}]
    EMPTY.validate()


def test_a_tidied_record_has_no_outer_blanks_and_one_line_end() -> None:
    messy = replace(
        EMPTY, title=" a\r\nb\rc ", persons=(" P ", "", "  "), licensors=(Licensor(" L ", " e "),), marked=None
    )
    tidy = messy.tidied()
    assert (tidy.title, tidy.persons, tidy.licensors) == ("a\nb\nc", ("P",), (Licensor("L", "e"),))
    assert tidy.tidied() == tidy
    assert tidy.marked is None


@pytest.mark.parametrize(("value", "text"), [(None, None), ("", None), ((), None), ("a", "a"), (("a",), "('a',)")])
def test_a_value_is_shown_as_text_or_not_at_all(value: object, text: str | None) -> None:
    assert shown(value) == text


# Vocabularies


# PLUS LDF 2.0.1, Minor Model Age Disclosure: AG-U14 for 14 and under, AG-A15 to AG-A24, AG-A25 for 25 and over.
@pytest.mark.parametrize(
    ("age", "code"), [(0, "AG-U14"), (14, "AG-U14"), (15, "AG-A15"), (24, "AG-A24"), (25, "AG-A25"), (80, "AG-A25")]
)
def test_ages_have_the_codes_of_plus(age: int, code: str) -> None:
    assert vocabulary.minor_code(age) == code
    assert code in vocabulary.MINOR_AGE


def test_a_negative_age_is_refused() -> None:
    with pytest.raises(ValueError, match="An age cannot be -1"):
        vocabulary.minor_code(-1)


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("http://ns.useplus.org/ldf/vocab/DMI-ALLOWED", "DMI-ALLOWED"),
        ("https://ns.useplus.org/ldf/vocab/DMI-ALLOWED", "DMI-ALLOWED"),
        (" http://ns.useplus.org/ldf/vocab/DMI-ALLOWED/ ", "DMI-ALLOWED"),
        ("DMI-ALLOWED", "DMI-ALLOWED"),
        ("http://elsewhere.example/DMI-ALLOWED", "http://elsewhere.example/DMI-ALLOWED"),
    ],
)
def test_a_code_is_read_bare_or_with_its_address(value: str, code: str) -> None:
    assert vocabulary.bare(value, vocabulary.PLUS_VOCAB) == code
