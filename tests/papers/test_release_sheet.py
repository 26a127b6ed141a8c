"""The print release and the licence sheet, sentence by sentence; PDFs read by pypdf, an independent reader."""

from __future__ import annotations

import hashlib
import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from pypdf import PdfReader

from galleries.papers.codes import Code
from galleries.papers.licence_fields import ALTERATIONS, USES, BadTerms
from galleries.papers.manifest import FileEntry
from galleries.papers.page import CAUTION
from galleries.papers.release import PrintRelease, print_release_pdf, release_sentences
from galleries.papers.sheet import Acceptance, licence_sheet_pdf, licence_sheet_text, sections
from galleries.papers.terms import LicenceTerms

TERMS = LicenceTerms("L-7", "Ines Falk", "Tom Bergson", ("casting", "print-own"), date(2026, 1, 31))
SIGNED = PrintRelease("Ines Falk", date(2026, 2, 1))
SUM = hashlib.sha256(b"").hexdigest()


def text_of(pdf: bytes) -> list[str]:
    """The words of each page."""
    return [re.sub(r"\s+", " ", page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def entries(count: int, **values: object) -> list[FileEntry]:
    return [FileEntry(f"print/n{at:03d}.jpg", SUM, 1, **values) for at in range(count)]  # type: ignore[arg-type]


# The release


def test_the_release_reads_so() -> None:
    assert release_sentences(TERMS, SIGNED) == [
        "I own the copyright in the pictures listed below, which show Tom Bergson.",
        "I permit Tom Bergson to have any number of prints made of each, by any lab or printer, without an end date.",
        "The lab may do what printing needs: colour management and trimming. Cropping to the print's shape is allowed.",
        "The prints are for the licensee's own use. They are not for resale, and the files may be kept by the lab only "
        "as long as the order takes.",
        "This release belongs to licence L-7, version 1.",
    ]


@pytest.mark.parametrize(
    ("terms", "release", "at", "words"),
    [
        ({}, {"copies": 1}, 1, "up to 1 prints made"),
        ({}, {"copies": 25}, 1, "up to 25 prints made"),
        ({"ends": date(2027, 5, 2)}, {}, 1, "until 2 May 2027."),
        ({"licensee": "The Desk"}, {}, 1, "I permit The Desk to have"),
        ({"alterations": ("retouch",)}, {}, 2, "Print without cropping."),
        ({"version": 3}, {}, 4, "version 3."),
    ],
)
def test_the_release_follows_the_licence(
    terms: dict[str, object], release: dict[str, object], at: int, words: str
) -> None:
    said = release_sentences(replace(TERMS, **terms), replace(SIGNED, **release))  # type: ignore[arg-type]
    assert words in said[at]


def test_no_release_from_a_licence_without_prints_or_with_problems() -> None:
    for terms, code in (
        (replace(TERMS, uses=("casting",)), Code.NO_PRINTS),
        (replace(TERMS, subject=""), Code.NOT_NAMED_SUBJECT),
    ):
        with pytest.raises(BadTerms) as caught:
            release_sentences(terms, SIGNED)
        assert caught.value.told.code == code


@pytest.mark.parametrize("count", [0, 1, 12, 13, 120])
def test_the_release_lists_every_file_of_the_lab_once(count: int) -> None:
    pages = text_of(print_release_pdf(TERMS, SIGNED, entries(count, use="for a print of 8 × 10 in")))
    assert re.findall(r"print/n(\d{3})\.jpg, for a print of 8 × 10 in", " ".join(pages)) == [
        f"{at:03d}" for at in range(count)
    ]
    assert "Signed: Ines Falk" in pages[0]  # whoever sees the first page sees what is permitted and by whom
    assert (len(pages) == 1) == (count < 14)


def test_pixels_are_said_of_pictures_only() -> None:
    files = [FileEntry("a.jpg", SUM, 1, 2475, 3075), FileEntry("b.pdf", SUM, 1)]
    (page,) = text_of(print_release_pdf(TERMS, SIGNED, files))
    assert "a.jpg, 2475 × 3075 px" in page
    assert "b.pdf, " not in page


def test_who_signs_and_whom_to_ask() -> None:
    (alone,) = text_of(print_release_pdf(TERMS, SIGNED, []))
    assert "Signed: Ines Falk, 1 February 2026 Ines Falk General words" in alone
    assert "To verify" not in alone
    assert "Pictures" not in alone
    terms = replace(TERMS, studio="North Light", contact_telephone="+47 22 00 00 00")
    (page,) = text_of(print_release_pdf(terms, SIGNED, []))
    assert "1 February 2026 North Light, Ines Falk To verify this release +47 22 00 00 00 General words" in page


@pytest.mark.parametrize(("name", "size"), [("A4", (595.28, 841.89)), ("Letter", (612, 792))])
def test_papers_are_as_large_as_their_page(name: str, size: tuple[float, float]) -> None:
    """ISO 216 [std]: 210 × 297 mm in points; US Letter 8.5 × 11 in."""
    for pdf in (print_release_pdf(TERMS, SIGNED, [], page=name), licence_sheet_pdf(TERMS, page=name)):
        box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.01)


def test_papers_say_their_title_author_and_language() -> None:
    """ISO 32000-1, 14.3.3 document information and 14.9.2 natural language [std, from memory]."""
    for pdf, title in (
        (print_release_pdf(TERMS, SIGNED, []), "Print release L-7"),
        (licence_sheet_pdf(TERMS), "Licence L-7, version 1"),
    ):
        read = PdfReader(io.BytesIO(pdf))
        assert read.metadata is not None
        assert (read.metadata.title, read.metadata.author) == (title, "Ines Falk")
        assert read.trailer["/Root"]["/Lang"] == "en"


# The licence sheet


def headings(**values: object) -> dict[str, list[str]]:
    return dict(sections(replace(TERMS, **values)))  # type: ignore[arg-type]


def test_the_sheet_in_its_order() -> None:
    found = sections(TERMS, entries(1), [])
    assert [title for title, _ in found] == ["Parties", "What was agreed", "Accepted", "Files", "Please note"]
    assert found[1][1] == TERMS.sentences()
    assert found[2][1] == ["Not yet accepted."]
    assert found[4][1] == list(CAUTION)


@pytest.mark.parametrize(
    ("values", "lines"),
    [
        ({}, ["Photographer: Ines Falk", "Licensed to: Tom Bergson", "Person shown: Tom Bergson"]),
        (
            {"studio": "North Light", "licensee": "The Desk", "representation": "The Desk"},
            ["Photographer: Ines Falk, North Light", "Licensed to: The Desk", "Person shown: Tom Bergson",
             "Representation: The Desk"],
        ),
        (
            {"contact_email": "a@b.example", "contact_url": "https://b.example", "contact_telephone": "+47 1"},
            ["Photographer: Ines Falk", "Licensed to: Tom Bergson", "Person shown: Tom Bergson",
             "Questions and further uses: a@b.example, +47 1, https://b.example"],
        ),
    ],
)  # fmt: skip
def test_parties_that_are_named_stand_there(values: dict[str, object], lines: list[str]) -> None:
    assert headings(**values)["Parties"] == lines


def test_files_are_counted_by_use_and_the_manifest_holds_the_rest() -> None:
    files = [
        *(FileEntry(f"a{n}.jpg", SUM, 1, 30, 40, "for a lab") for n in range(2)),
        FileEntry("w.jpg", SUM, 1, 300, 400, "the whole frame"),
        FileEntry("x.jpg", SUM, 1, 301, 400, "the whole frame"),
        FileEntry("b.pdf", SUM, 1),
    ]
    *counted, pointer = dict(sections(TERMS, files))["Files"]
    assert counted == ["1 file", "2 files for a lab, 30 × 40 px", "2 files the whole frame"]
    assert "manifest" in pointer
    assert "Files" in dict(sections(TERMS, []))
    assert dict(sections(TERMS, []))["Files"] == []


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_the_sheet_of_a_large_delivery_has_two_pages_at_most(page: str) -> None:
    """Everything the licence can say, twelve acceptances and 40 finals in eight sizes."""
    terms = replace(
        TERMS, uses=tuple(USES), alterations=tuple(ALTERATIONS), studio="North Light", representation="The Desk",
        contact_email="a@b.example", contact_telephone="+47 22 00 00 00", contact_url="https://b.example",
    )  # fmt: skip
    accepted = [Acceptance(f"Person {n} Ångström", datetime(2026, 3, 9, 8, 5, tzinfo=UTC), 1) for n in range(12)]
    files = [
        FileEntry(f"print/{size}/n{at}.jpg", SUM, 1, 2400, 3000, f"for a print of {size} in")
        for size in range(8)
        for at in range(40)
    ]
    assert len(text_of(licence_sheet_pdf(terms, files, accepted, page=page))) <= 2


@pytest.mark.parametrize(
    ("zone", "said"),
    [
        (UTC, "Tom accepted version 2 on 9 March 2026 at 08:05 UTC."),
        (timezone(timedelta(hours=1), "CET"), "Tom accepted version 2 on 9 March 2026 at 08:05 CET."),
        (None, "Tom accepted version 2 on 9 March 2026 at 08:05."),
    ],
)
def test_an_acceptance_names_version_minute_and_zone(zone: timezone | None, said: str) -> None:
    assert Acceptance("Tom", datetime(2026, 3, 9, 8, 5, tzinfo=zone), 2).sentence() == said


def test_the_sheet_as_text_to_the_column() -> None:
    accepted = [Acceptance("Tom", datetime(2026, 3, 9, 8, 5, tzinfo=UTC), 1)]
    text = licence_sheet_text(TERMS, [], accepted)
    lines = text.splitlines()
    assert lines[:3] == ["Licence L-7, version 1", "", "PARTIES"]
    assert "- Tom accepted version 1 on 9 March 2026 at 08:05 UTC." in lines
    assert "FILES" not in lines
    assert all(line == "" or line[:2] in ("- ", "  ") or line == line.upper() for line in lines[1:])
    assert 70 < max(map(len, lines)) <= 78


def test_pages_are_numbered_and_named() -> None:
    pages = text_of(print_release_pdf(TERMS, SIGNED, entries(120)))
    assert len(pages) > 2
    for at, page in enumerate(pages, 1):
        assert re.search(rf"Print release L-7, page {at}\b", page)
    (alone,) = text_of(licence_sheet_pdf(TERMS))
    assert re.search(r"Licence L-7, version 1, page 1\b", alone)


def test_terms_that_cannot_stand_make_no_sheet() -> None:
    with pytest.raises(BadTerms):
        licence_sheet_pdf(replace(TERMS, uses=()))
