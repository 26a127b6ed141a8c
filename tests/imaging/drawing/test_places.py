"""Where border, strip and stamp come to lie, in pixels worked out by hand."""

from __future__ import annotations

import contextlib
import math

import numpy as np
import pytest

from galleries.imaging.codes import Code
from galleries.imaging.drawing import border, lettering, name_strip, stamp, stamp_layout
from galleries.imaging.drawing.stamp import StampText
from galleries.imaging.errors import ImagingError
from galleries.imaging.framing.sizes import SizeSpec
from tests.imaging.heads import head


def size(**values: object) -> SizeSpec:
    return SizeSpec(**{"slug": "s", "title": "S", "use": "print", "width": 400, "height": 500, **values})  # type: ignore[arg-type]


# Border and strip


@pytest.mark.parametrize(("height", "strip"), [(500, 28), (1000, 55), (100, 6)])
def test_a_strip_takes_its_share_of_the_trim(height: int, strip: int) -> None:
    """5.5 %: 27.5 rounds to even, 55, 5.5 to even."""
    assert border.strip_height(size(height=height, name_strip=True)) == strip
    assert border.strip_height(size(height=height)) == 0


@pytest.mark.parametrize(
    ("values", "insets"),
    [
        ({}, (0, 0, 0, 0)),
        ({"bleed": 10}, (0, 0, 0, 0)),
        ({"border": 20}, (20, 20, 20, 20)),
        ({"border": 20, "bleed": 2.5}, (22, 22, 23, 23)),  # five pixels of bleed: two before, three behind
        ({"name_strip": True}, (0, 0, 0, 28)),
        ({"name_strip": True, "bleed": 2.5}, (0, 0, 0, 31)),
        ({"name_strip": True, "border": 20, "bleed": 3}, (23, 23, 23, 51)),
    ],
)
def test_what_border_strip_and_bleed_cover(values: dict[str, object], insets: tuple[int, int, int, int]) -> None:
    assert border.insets(size(**values)) == insets


def picture(spec: SizeSpec, kind: type = np.uint8) -> np.ndarray:
    return np.full((spec.out_height, spec.out_width, 3), 90, kind)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_border_is_white_to_its_pixel(kind: type) -> None:
    spec = size(border=20, bleed=2.5)
    drawn = border.draw(picture(spec, kind), spec, "")
    white = (drawn == np.iinfo(kind).max).all(axis=2)
    inner = np.zeros_like(white)
    inner[22:-23, 22:-23] = True
    assert np.array_equal(white, ~inner)
    assert (drawn[inner] == 90).all()


def test_a_preview_has_its_border_in_its_own_scale() -> None:
    spec = size(border=20)
    drawn = border.draw(np.full((250, 200, 3), 90, np.uint8), spec, "", scale=0.5)
    assert (drawn[:10] == 255).all()
    assert (drawn[10:-10, 10:-10] == 90).all()
    tiny = np.full((5, 4, 3), 90, np.uint8)
    assert border.draw(tiny, size(border=1), "", scale=0.01) is tiny


def test_an_empty_name_leaves_its_strip_empty() -> None:
    spec = size(name_strip=True)
    drawn = border.draw(picture(spec), spec, "  ")
    assert (drawn[-28:] == 255).all()
    assert (drawn[:-28] == 90).all()
    named = border.draw(picture(spec), spec, "Tom")
    assert (named[-28:] < 128).any()
    assert (named[:-28] == 90).all()


def test_the_name_stands_above_the_border_and_inside_of_it() -> None:
    spec = size(name_strip=True, border=20)
    drawn = border.draw(picture(spec), spec, "W" * 30)
    dark = (drawn < 128).all(axis=2) & (drawn != 90).all(axis=2)
    rows, columns = np.nonzero(dark)
    assert 500 - 48 <= rows.min() <= rows.max() < 500 - 20
    assert 20 <= columns.min() <= columns.max() < 380


@pytest.mark.parametrize(
    ("values", "name", "code"),
    [
        ({}, "\U000fffff", None),
        ({"name_strip": True}, "Tom", None),
        ({"name_strip": True}, "\U000fffff", Code.STRIP_NO_LETTERS),
        ({"name_strip": True}, "W" * 900, Code.STRIP_TOO_LONG),
    ],
)
def test_why_a_name_cannot_be_set(values: dict[str, object], name: str, code: Code | None) -> None:
    problem = border.name_problem(size(**values), name)
    assert (problem and problem.code) == code


# The strip


@pytest.mark.parametrize(
    ("arguments", "box"),
    [
        ((400, 500, 28), (0, 472, 400, 28)),
        ((400, 500, 500), (0, 0, 400, 500)),
        ((400, 500, 1), (0, 499, 400, 1)),
    ],
)
def test_a_strip_lies_along_the_foot(arguments: tuple[int, int, int], box: tuple[int, ...]) -> None:
    assert name_strip.strip_box(*arguments) == box


def test_a_strip_keeps_off_sides_and_foot() -> None:
    assert name_strip.strip_box(400, 500, 28, inset=30, foot=12) == (30, 460, 340, 28)
    assert name_strip.strip_box(399, 500, 488, inset=199, foot=12) == (199, 0, 1, 488)


@pytest.mark.parametrize(
    ("high", "inset", "foot"),
    [(0, 0, 0), (-1, 0, 0), (501, 0, 0), (489, 0, 12), (28, 200, 0), (28, -1, 0), (28, 0, -1)],
)
def test_a_strip_that_does_not_fit_is_refused(high: int, inset: int, foot: int) -> None:
    with pytest.raises(ImagingError) as caught:
        name_strip.strip_box(400, 500, high, inset=inset, foot=foot)
    assert caught.value.told.code == Code.STRIP_NO_ROOM
    assert caught.value.told.data == {"strip_px": high, "width_px": 400, "height_px": 500}


@pytest.mark.parametrize("room", [(300, 20), (60, 20), (300, 8), (1000, 90)])
def test_a_name_fits_its_room_and_fills_one_side_of_it(room: tuple[int, int]) -> None:
    mask = name_strip.fitted("ÅÇgp Bergson", *room)
    height, width = mask.shape
    assert width <= room[0]
    assert height <= room[1]
    assert width >= room[0] - 1 or height >= 0.8 * room[1]
    assert mask.dtype == np.float32
    assert 0 <= mask.min() < 0.2
    assert 0.8 < mask.max() <= 1.0


def test_names_with_and_without_accents_have_one_size() -> None:
    plain, full = name_strip.fitted("Tom", 900, 40), name_strip.fitted("ÅTomg", 900, 40)
    letter = plain[:, : plain.shape[1] // 3].any(axis=1).sum()
    assert plain.shape[0] < full.shape[0] <= 40
    assert letter == pytest.approx(full.shape[0] * 0.6, rel=0.2)  # a capital of what ascends and descends


def test_a_name_too_long_to_be_read_is_refused_with_its_height() -> None:
    with pytest.raises(ImagingError) as caught:
        name_strip.fitted("W" * 200, 300, 30)
    assert caught.value.told.code == Code.STRIP_TOO_LONG
    assert int(str(caught.value.told.data["height_px"])) < name_strip.LEAST_INK


def heights(rooms: range) -> set[int]:
    found = set()
    for room in rooms:
        with contextlib.suppress(ImagingError):
            found.add(name_strip.fitted("Tom", 900, room).shape[0])
    return found


def test_the_least_height_is_still_set() -> None:
    assert min(heights(range(8, 18))) == name_strip.LEAST_INK


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("Tom", "Tom"),
        (" Tom \n Bergson ", "Tom Bergson"),
        ("a\U000fffffb", "ab"),
        ("a \U000fffff b", "a b"),
        ("李", "李"),
        ("\U000fffff", ""),
        ("", ""),
    ],
)
def test_what_can_be_written_is_kept_on_one_line(text: str, written: str) -> None:
    assert lettering.writable(text) == written


def test_a_mask_is_cut_to_its_ink() -> None:
    mask = lettering.text_mask("Tom", 40)
    assert mask[0].any()
    assert mask[-1].any()
    assert mask[:, 0].any()
    assert mask[:, -1].any()
    assert np.array_equal(lettering.text_mask("\U000fffff", 40), np.zeros((1, 1), np.uint8))
    assert lettering.text_mask("Tom", 80).shape[1] == pytest.approx(2 * mask.shape[1], rel=0.05)


# The stamp


@pytest.mark.parametrize(
    ("text", "line", "small"),
    [
        (StampText("North Light"), "North Light · PROOF", "PROOF · North Light"),
        (StampText("North Light", "for T."), "North Light · PROOF", "PROOF · North Light · for T."),
        (StampText(""), "PROOF", "PROOF"),
        (StampText("\U000fffff", "x"), "PROOF", "PROOF · x"),
        (StampText("n" * 60), "n" * 48 + " · PROOF", "PROOF · " + "n" * 48),
        (StampText("n" * 47 + " m"), "n" * 47 + " · PROOF", "PROOF · " + "n" * 47),
    ],
)
def test_lines_of_the_stamp(text: StampText, line: str, small: str) -> None:
    assert (text.line, text.small_line) == (line, small)


FACE = head(1000, 800, 100)


def test_eyes_nose_and_mouth_are_kept_clear() -> None:
    zones = dict(zip(("right", "left", "middle", "nose", "mouth"), stamp.clear_zones(FACE), strict=True))
    assert zones["right"] == (pytest.approx((950, 800)), pytest.approx(40))
    assert zones["left"] == (pytest.approx((1050, 800)), pytest.approx(40))
    assert zones["middle"] == (pytest.approx((1000, 800)), pytest.approx(30))
    assert zones["nose"] == (pytest.approx((1000, 852.5)), pytest.approx(42))
    assert zones["mouth"] == (pytest.approx((1000, 905)), pytest.approx(46))


@pytest.mark.parametrize(
    ("along", "across", "radius", "touches"),
    [
        (0, 0, 1, True),
        (69, 0, 20, True),
        (71, 0, 20, False),
        (0, 29, 20, True),
        (0, 31, 20, False),
        (-69, 0, 20, True),
        (0, -29, 20, True),
        (62, 25, 19, False),  # past the corner by 12 and 15: 19.2
        (62, 25, 20, True),
        (40, 15, 6, True),
    ],
)
@pytest.mark.parametrize("turn_deg", [-24.0, 19.0])
def test_a_slanted_piece_touches_a_circle_by_its_own_axes(
    along: float, across: float, radius: float, touches: bool, turn_deg: float
) -> None:
    turn = math.radians(turn_deg)
    x = 500 + math.cos(turn) * along - math.sin(turn) * across
    y = 500 + math.sin(turn) * along + math.cos(turn) * across
    piece = ((500.0, 500.0), (50.0, 10.0), turn_deg)
    assert stamp_layout.touches(*piece, [((x, y), radius)]) is touches
    assert stamp_layout.touches(*piece, [((5000.0, 5000.0), 1.0), ((x, y), radius)]) is touches
    assert not stamp_layout.touches(*piece, [])


SECRETS = [b"", b"quay", b"lamp"]


def rows_of(shape: tuple[int, int], text: StampText) -> list[tuple[stamp_layout.Place, float, float]]:
    """The pieces without a face, each with its place along and across the rows, in units from the frame's middle."""
    unit, turn = math.sqrt(shape[0] * shape[1]), math.radians(stamp_layout.Rows.of(text).slant_deg)
    placed = []
    for one in stamp_layout._row_places(*shape, text, []):
        dx, dy = (one.centre[0] - shape[0] / 2) / unit, (one.centre[1] - shape[1] / 2) / unit
        placed.append((one, math.cos(turn) * dx + math.sin(turn) * dy, -math.sin(turn) * dx + math.cos(turn) * dy))
    return placed


@pytest.mark.parametrize("secret", SECRETS)
@pytest.mark.parametrize("shape", [(600, 400), (400, 600)])
def test_rows_cover_the_frame_evenly_and_lie_in_it(shape: tuple[int, int], secret: bytes) -> None:
    text = StampText("North Light", secret=secret)
    rows = stamp_layout.Rows.of(text)
    placed = rows_of(shape, text)
    steps = np.diff(sorted({round(across, 3) for _one, _along, across in placed}))
    assert steps == pytest.approx(np.full(len(steps), rows.gap), abs=0.002)
    assert rows.gap == pytest.approx(stamp_layout.ROW_GAP, rel=0.1)
    ink = np.zeros((shape[1], shape[0]), bool)
    for one in stamp_layout.pieces_of(*shape, [], text):
        assert min(one.rows.min(initial=0), one.columns.min(initial=0)) >= 0
        ink[one.rows, one.columns] = True
    for part in np.array_split(ink, 2, axis=0) + np.array_split(ink, 2, axis=1):
        assert part.mean() == pytest.approx(ink.mean(), rel=0.3)
    half_sizes = {round(one.half[1]) for one, _along, _across in placed}
    assert len(half_sizes) == 2, "large and small rows by turns"


@pytest.mark.parametrize("shape", [(1200, 800), (800, 1200)])
def test_every_row_has_a_phase_of_its_own(shape: tuple[int, int]) -> None:
    """So that no gap stands above a gap, and nobody who knows one row knows the next."""
    text = StampText("N", secret=b"quay")
    rows, unit = stamp_layout.Rows.of(text), math.sqrt(shape[0] * shape[1])
    seen = set()
    for one, along, across in rows_of(shape, text):
        row = round((across - rows.shift[1]) / rows.gap)
        steps = (along - rows.shift[0]) / (2 * one.half[0] / unit + 0.10)
        off = (steps - rows.along[row + len(rows.along) // 2]) % 1
        assert min(off, 1 - off) < 1e-6
        seen.add(row)
    assert min(seen) <= -3
    assert max(seen) >= 3
    assert len(set(rows.along)) == len(rows.along)


def test_a_long_name_is_held_to_its_length() -> None:
    rows = stamp_layout._row_places(800, 800, StampText("W" * 48, "M" * 48), [])
    lengths = sorted({round(2 * one.half[0]) for one in rows})
    assert lengths == pytest.approx([0.6 * stamp_layout._LONGEST * 800, stamp_layout._LONGEST * 800], rel=0.02)
