"""Fonts by character, widths and shortened lines; widths against the fonts' own tables read by Pillow (FreeType)."""

from __future__ import annotations

import pytest
from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics

from galleries.papers import fonts, page
from galleries.papers.contact import _wrapped

LATIN, HAN = "PaperSans", "PaperHan"


@pytest.mark.parametrize(("character", "name"), [("a", LATIN), ("Ø", LATIN), ("Ж", LATIN), ("李", HAN), ("…", LATIN)])
def test_the_first_font_that_has_the_sign_draws_it(character: str, name: str) -> None:
    assert fonts.font_for(character) == name
    assert ord(character) in pdfmetrics.getFont(name).face.charToGlyph


def test_a_sign_that_no_font_has_is_drawn_by_the_first() -> None:
    assert fonts.font_for("\U0010fffd") == fonts.available()[0] == LATIN


def test_bold_has_fonts_of_its_own() -> None:
    assert fonts.available("bold") == ("PaperSansBold", HAN, "PaperVeraBold")
    assert fonts.available() == (LATIN, HAN, "PaperVera")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        ("abc", [(LATIN, "abc")]),
        ("a李b", [(LATIN, "a"), (HAN, "李"), (LATIN, "b")]),
        ("李 小", [(HAN, "李 小")]),  # a space stays with what stands before it
        (" 李", [(LATIN, " "), (HAN, "李")]),
        ("Tom 李", [(LATIN, "Tom "), (HAN, "李")]),
    ],
)
def test_a_text_is_cut_where_the_font_changes(text: str, expected: list[tuple[str, str]]) -> None:
    assert fonts.runs(text) == expected


DEJAVU = "/usr/share/fonts/truetype/dejavu/DejaVuSans{}.ttf"


@pytest.mark.parametrize("size", [8, 11])
@pytest.mark.parametrize(("weight", "file"), [("regular", ""), ("bold", "-Bold")])
def test_widths_are_those_that_freetype_reads(size: int, weight: str, file: str) -> None:
    """Drawn 100 times as large, so that FreeType's whole pixels do not matter; kerning off, as a PDF draws."""
    large = ImageFont.truetype(DEJAVU.format(file), size * 100, layout_engine=ImageFont.Layout.BASIC)
    text = "Headshot 8×10"
    expected = sum(large.getlength(sign) for sign in text) / 100
    assert fonts.width(text, size, weight) == pytest.approx(expected, abs=0.1)


def test_widths_add_up_over_fonts() -> None:
    assert fonts.width("a李", 10) == pytest.approx(fonts.width("a", 10) + fonts.width("李", 10))
    assert fonts.width("", 10) == 0


TEXT = "Northlight sitting of an ensemble"


def test_what_has_room_is_left_alone() -> None:
    room = fonts.width(TEXT, 10)
    assert fonts.shortened(TEXT, 10, room) == TEXT
    assert fonts.shortened(TEXT, 10, room - 0.01) != TEXT


@pytest.mark.parametrize("share", [0.15, 0.3, 0.5, 0.77, 0.95])
@pytest.mark.parametrize("weight", ["regular", "bold"])
def test_a_shortened_text_fits_and_could_not_be_longer(share: float, weight: str) -> None:
    room = fonts.width(TEXT, 10, weight) * share
    short = fonts.shortened(TEXT, 10, room, weight)
    assert short.endswith("…")
    assert fonts.width(short, 10, weight) <= room
    kept = len(short) - 1
    longer = TEXT[: kept + 1] if TEXT[kept] != " " else TEXT[: kept + 2]
    assert TEXT.startswith(short[:-1])
    assert fonts.width(longer + "…", 10, weight) > room


def test_no_space_stands_before_the_dots_and_no_room_leaves_them_alone() -> None:
    assert fonts.shortened("ab cdef", 10, fonts.width("ab …", 10)) == "ab…"
    assert fonts.shortened("abc", 10, 1) == "…"


# Lines wrapped at words


def test_words_fill_a_line_to_its_last_point() -> None:
    room = fonts.width("one two", 8)
    assert _wrapped("one two three", 8, room) == ["one two", "three"]
    assert _wrapped("one two three", 8, room - 0.01) == ["one", "two", "three"]
    assert _wrapped("  one   two  ", 8, 500) == ["one two"]
    assert _wrapped("", 8, 500) == []


def test_a_word_wider_than_the_line_is_shortened_by_itself() -> None:
    lines = _wrapped("one " + "w" * 200 + " two", 8, 60)
    assert [lines[0], lines[2]] == ["one", "two"]
    assert lines[1].endswith("…")
    assert all(fonts.width(line, 8) <= 60 for line in lines)


# Pages and paragraphs


@pytest.mark.parametrize(("name", "mm"), [("A4", (210, 297)), ("Letter", (215.9, 279.4))])
def test_pages_have_the_size_of_their_paper(name: str, mm: tuple[float, float]) -> None:
    """ISO 216 [std] for A4; 8.5 × 11 in for Letter; a point is 1/72 in."""
    assert page.page_size(name) == pytest.approx([side / 25.4 * 72 for side in mm], abs=0.01)


def test_an_unknown_page_names_those_that_are_known() -> None:
    with pytest.raises(ValueError, match=r"'a4' is not a page size; known are A4, Letter\."):
        page.page_size("a4")


def test_a_line_of_two_fonts_ends_where_its_widths_end() -> None:
    class Pen:
        def __init__(self) -> None:
            self.done: list[tuple[object, ...]] = []

        def setFont(self, name: str, size: float) -> None:
            self.done.append(("font", name, size))

        def drawString(self, x: float, y: float, text: str) -> None:
            self.done.append((x, y, text))

    pen = Pen()
    end = fonts.draw_line(pen, 50, 30, "ab李", 8)  # type: ignore[arg-type]
    middle = 50 + fonts.width("ab", 8)
    assert pen.done == [("font", LATIN, 8), (50, 30, "ab"), ("font", HAN, 8), (middle, 30, "李")]
    assert end == pytest.approx(50 + fonts.width("ab李", 8))
