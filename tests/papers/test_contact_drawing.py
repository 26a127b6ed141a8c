"""The contact sheet's geometry: strokes in the unit square, strips in their room, pages that break between strips."""

from __future__ import annotations

import io
import itertools
import math
import random
from typing import get_args

import pytest
from PIL import Image
from pypdf import PdfReader

from galleries.papers.contact import Kind, SheetFrame, SheetLook, SheetMark, _Sheet, _strokes, contact_sheet_pdf

UNSTEADY = 0.012


def jpeg(width: int, height: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (width, height), (90, 90, 90)).save(out, "JPEG")
    return out.getvalue()


FRAME = SheetFrame("0001", jpeg(96, 144))
WIDE = SheetFrame("0002", jpeg(144, 96))


def strokes(kind: Kind, inset: float = 0.04) -> list[list[tuple[float, float]]]:
    return _strokes(kind, random.Random("frame"), inset)


# The grease pencil


@pytest.mark.parametrize("inset", [0.04, 0.11])
def test_a_strike_is_one_diagonal_from_the_lower_left(inset: float) -> None:
    (line,) = strokes("strike", inset)
    assert line[0] == pytest.approx((inset, inset), abs=UNSTEADY)
    assert line[-1] == pytest.approx((1 - inset, 1 - inset), abs=UNSTEADY)
    assert all(abs(x - y) <= 2 * UNSTEADY for x, y in line)
    assert len(line) == 13


@pytest.mark.parametrize("inset", [0.04, 0.11])
def test_an_alternate_is_two_brackets_that_face_each_other(inset: float) -> None:
    left, right = strokes("alternate", inset)
    low, high, arm = inset, 1 - inset, 0.16
    shapes = (
        (left, [(low + arm, high), (low, high), (low, low), (low + arm, low)]),
        (right, [(high - arm, high), (high, high), (high, low), (high - arm, low)]),
    )
    for line, corners in shapes:
        for point, corner in zip(line, corners, strict=True):
            assert point == pytest.approx(corner, abs=UNSTEADY)


@pytest.mark.parametrize("inset", [0.04, 0.11])
def test_a_pick_is_a_ring_that_overlaps_its_start(inset: float) -> None:
    (ring,) = strokes("pick", inset)
    radius = 0.5 - inset
    for x, y in ring:
        far = math.hypot(x - 0.5, y - 0.5)
        assert radius * 0.95 - UNSTEADY / 3 <= far <= radius + UNSTEADY / 3
    turned = [math.atan2(y - 0.5, x - 0.5) for x, y in ring]
    steps = [(after - before) % math.tau for before, after in itertools.pairwise(turned)]
    assert all(0 < step < 0.2 for step in steps), "always onward, counter-clockwise"
    assert math.tau < sum(steps) < math.tau * 1.06
    outer, inner = (math.hypot(x - 0.5, y - 0.5) for x, y in (ring[0], ring[-1]))
    assert inner < outer, "the end lies inside the start"


@pytest.mark.parametrize("kind", get_args(Kind))
def test_a_hand_is_unsteady_but_the_same_each_time(kind: Kind) -> None:
    assert strokes(kind) == strokes(kind)
    other = _strokes(kind, random.Random("another frame"), 0.04)
    assert strokes(kind) != other


@pytest.mark.parametrize("kind", get_args(Kind))
def test_a_second_mark_lies_inside_the_first(kind: Kind) -> None:
    def reach(inset: float) -> float:
        return max(max(abs(x - 0.5), abs(y - 0.5)) for line in strokes(kind, inset) for x, y in line)

    assert reach(0.11) < reach(0.04) <= 0.5


# Strips and pages


def sheet(columns: int = 6) -> _Sheet:
    return _Sheet("Sitting", (600.0, 800.0), columns, "key", "en")


@pytest.mark.parametrize("columns", [1, 4, 6])
def test_cells_and_gaps_fill_the_strip(columns: int) -> None:
    cell = sheet(columns).cell
    assert 36 + 6 + columns * (cell + 6) == pytest.approx(600 - 36)  # common practice, no source: half-inch edges


@pytest.mark.parametrize(
    ("size", "shape"),
    [((96, 144), (1, 1.5)), ((144, 96), (1, 96 / 144)), ((100, 100), (1, 1)), ((100, 400), (0.375, 1.5))],
)
def test_a_picture_keeps_its_shape_in_its_cell(size: tuple[int, int], shape: tuple[float, float]) -> None:
    room = sheet()
    found = room._size(SheetFrame("1", jpeg(*size)))
    assert found == pytest.approx((room.cell * shape[0], room.cell * shape[1]))


def test_a_strip_is_as_high_as_its_highest_frame() -> None:
    room = sheet()
    assert room._strip_height([WIDE, FRAME]) == room._strip_height([FRAME]) > room._strip_height([WIDE])
    assert room._strip_height([FRAME]) - room._strip_height([WIDE]) == pytest.approx(room.cell * (1.5 - 96 / 144))


def pages(looks: list[SheetLook], **values: object) -> list[str]:
    pdf = contact_sheet_pdf("Sitting 42", looks, **{"key": "ring = pick", **values})  # type: ignore[arg-type]
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def numbered(count: int, first: int = 1) -> tuple[SheetFrame, ...]:
    return tuple(SheetFrame(f"n{at:04d}", FRAME.thumbnail) for at in range(first, first + count))


def test_every_page_has_title_key_and_number() -> None:
    found = pages([SheetLook("Look 1", (), numbered(60))])
    assert len(found) > 1
    for at, text in enumerate(found, 1):
        assert "Sitting 42" in text
        assert "ring = pick" in text
        assert str(at) in text.split()


@pytest.mark.parametrize("columns", [3, 6])
def test_pages_break_between_strips_and_lose_no_frame(columns: int) -> None:
    found = pages([SheetLook("Look 1", (), numbered(40))], columns=columns)
    seen = [[word for word in text.split() if word.startswith("n0")] for text in found]
    assert sorted(number for numbers in seen for number in numbers) == [frame.number for frame in numbered(40)]
    assert all(len(numbers) % columns == 0 for numbers in seen[:-1])


def test_a_look_keeps_its_title_with_its_first_strip() -> None:
    for count in range(30, 49, 6):
        found = pages([SheetLook("Look 1", (), numbered(count)), SheetLook("Look 2", ("a note",), numbered(6, 900))])
        (page,) = [text for text in found if "Look 2" in text]
        assert "n0900" in page
        assert "a note" in page


def test_a_look_without_frames_is_named_all_the_same() -> None:
    (text,) = pages([SheetLook("Look 1", ("nothing yet",), ())])
    assert "Look 1" in text
    assert "nothing yet" in text


def test_long_words_are_shortened_into_their_room() -> None:
    frame = SheetFrame("frame-number-" * 20, FRAME.thumbnail)
    (text,) = pages([SheetLook("L" * 400, (), (frame,))], key="k" * 900)
    assert text.count("…") == 3


@pytest.mark.parametrize("columns", [0, -1])
def test_a_sheet_needs_a_column(columns: int) -> None:
    with pytest.raises(ValueError, match="at least one column"):
        contact_sheet_pdf("S", [], key="", columns=columns)


def test_the_sheet_says_its_title_and_language() -> None:
    read = PdfReader(io.BytesIO(contact_sheet_pdf("Sitting 42", [], key="", language="de")))
    assert read.metadata is not None
    assert read.metadata.title == "Sitting 42"
    assert read.trailer["/Root"]["/Lang"] == "de"


def operators(mark: SheetMark) -> bytes:
    pdf = contact_sheet_pdf("S", [SheetLook("L", (), (SheetFrame("1", FRAME.thumbnail, (mark,)),))], key="")
    return PdfReader(io.BytesIO(pdf)).pages[0].get_contents().get_data()  # type: ignore[union-attr]


@pytest.mark.parametrize(("kind", "lines"), [("pick", 1), ("alternate", 2), ("strike", 1)])
def test_each_stroke_is_drawn_light_and_wide_then_dark_and_narrow(kind: Kind, lines: int) -> None:
    """ISO 32000-1, 8.4.3: w sets the line's width, RG the stroking colour, d the dashes [std, from memory]."""
    drawn = operators(SheetMark(kind, "S")).split()
    widths = [drawn[at - 1] for at, word in enumerate(drawn) if word == b"w"]
    assert [width for width in widths if width in (b"3.4", b"2")] == [b"3.4", b"2"] * lines
    assert b"[5 8] 0 d" not in operators(SheetMark(kind, "S"))
    assert b"[5 8] 0 d" in operators(SheetMark(kind, "R", "dashed"))
    assert b".78 .1 .08 RG" in operators(SheetMark(kind, "S"))
    assert b".06 .25 .62 RG" in operators(SheetMark(kind, "R", "dashed"))
