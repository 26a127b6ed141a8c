"""The contact sheet on paper: frames in strips by look, with marks as a grease pencil would draw them.

A ring is a pick, brackets are an alternate, one diagonal is a strike. The subject's marks are a solid line,
the representation's a dashed one; each carries its letter, so that the sheet reads without colour. Looks are headings
and frames are figures of a tagged PDF (structure.py), so that it reads without eyes, too.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from galleries.papers import fonts
from galleries.papers.fonts import draw_line
from galleries.papers.page import page_size
from galleries.papers.structure import Structure

Kind = Literal["pick", "alternate", "strike"]
_EDGE, _GAP, _STRIP_PAD = 36.0, 6.0, 13.0
_INK = {"solid": (0.78, 0.10, 0.08), "dashed": (0.06, 0.25, 0.62)}


@dataclass(frozen=True)
class SheetMark:
    """One person's mark: its kind, the letter that stands for the person, and the line it is drawn with."""

    kind: Kind
    letter: str
    line: Literal["solid", "dashed"] = "solid"


SUBJECT_LINE, REPRESENTATION_LINE = "solid", "dashed"


@dataclass(frozen=True)
class SheetFrame:
    """A frame on the sheet: its number along the edge, the stamped thumbnail (JPEG bytes), its marks, and what is heard
    in its place (its number, where nothing else is said)."""

    number: str
    thumbnail: bytes
    marks: tuple[SheetMark, ...] = ()
    alternative: str = ""


@dataclass(frozen=True)
class SheetLook:
    """A look: title, set-up notes (wardrobe, backdrop, lighting, gel, treatment) and its frames."""

    title: str
    notes: tuple[str, ...]
    frames: tuple[SheetFrame, ...]


def contact_sheet_pdf(
    title: str,
    looks: Sequence[SheetLook],
    *,
    page: str = "A4",
    columns: int = 6,
    key: str,
    language: str = "en",
) -> bytes:
    """The sheet as PDF; `key` explains the marks, in `language`. The same input, the same bytes.

    Raises ValueError for an unknown page or no column.
    """
    if columns < 1:
        raise ValueError("A contact sheet needs at least one column.")
    return _Sheet(title, page_size(page), columns, key, language).draw(looks)


class _Sheet:
    """Draws top-down and starts a new page when a strip no longer fits."""

    def __init__(self, title: str, size: tuple[float, float], columns: int, key: str, language: str) -> None:
        self.title, self.key, self.columns = title, key, columns
        self.width, self.height = size
        self.out = io.BytesIO()
        self.canvas = Canvas(self.out, pagesize=size, invariant=1, lang=language)
        self.canvas.setTitle(title)
        self.structure = Structure(self.canvas)
        self.cell = (self.width - 2 * _EDGE - _GAP * (columns + 1)) / columns
        self.y = 0.0

    def draw(self, looks: Sequence[SheetLook]) -> bytes:
        self._new_page(first=True)
        for look in looks:
            self._look(look)
        self.canvas.showPage()
        self.structure.write()
        self.canvas.save()
        return self.out.getvalue()

    def _new_page(self, *, first: bool = False) -> None:
        if not first:
            self.canvas.showPage()
            self.structure.page_ends()
        room = self.width - 2 * _EDGE
        tag = self.structure.element if first else lambda _kind: self.structure.artifact()
        with tag("H1"):
            draw_line(self.canvas, _EDGE, self.height - 40, fonts.shortened(self.title, 13, room, "bold"), 13, "bold")
        with tag("P"):
            draw_line(self.canvas, _EDGE, self.height - 54, fonts.shortened(self.key, 7.5, room), 7.5)
        with self.structure.artifact():
            draw_line(self.canvas, _EDGE, 22, f"{self.canvas.getPageNumber()}", 8)
        self.y = self.height - 66

    def _look(self, look: SheetLook) -> None:
        strips = [look.frames[i : i + self.columns] for i in range(0, len(look.frames), self.columns)]
        first, room = self._strip_height(strips[0]) if strips else 0.0, self.width - 2 * _EDGE
        notes = [_wrapped(note, 8, room) for note in look.notes]
        if self.y - 20 - 11 * sum(map(len, notes)) - first < _EDGE:
            self._new_page()
        self.structure.section()
        self.y -= 16
        with self.structure.element("H2"):
            draw_line(self.canvas, _EDGE, self.y, fonts.shortened(look.title, 11, room, "bold"), 11, "bold")
        for note in notes:
            with self.structure.element("P"):
                for line in note:
                    self.y -= 11
                    draw_line(self.canvas, _EDGE, self.y, line, 8)
        self.y -= 6
        for strip in strips:
            if self.y - self._strip_height(strip) < _EDGE:
                self._new_page()
            self._strip(strip)

    def _strip_height(self, strip: Sequence[SheetFrame]) -> float:
        return max(self._size(frame)[1] for frame in strip) + 2 * _STRIP_PAD + 4

    def _size(self, frame: SheetFrame) -> tuple[float, float]:
        """Width and height in points inside the cell, the picture's own shape, at most 1.5 cells high."""
        w, h = ImageReader(io.BytesIO(frame.thumbnail)).getSize()
        scale = min(self.cell / w, 1.5 * self.cell / h)
        return w * scale, h * scale

    def _strip(self, strip: Sequence[SheetFrame]) -> None:
        canvas, band = self.canvas, self._strip_height(strip) - 4
        with self.structure.artifact():
            canvas.setFillGray(0.12)
            canvas.rect(_EDGE, self.y - band, self.width - 2 * _EDGE, band, stroke=0, fill=1)
        for index, frame in enumerate(strip):
            with self.structure.element("Figure", frame.alternative or frame.number):
                self._frame(frame, _EDGE + _GAP + index * (self.cell + _GAP), band)
        canvas.setFillGray(0)
        self.y -= band + 4

    def _frame(self, frame: SheetFrame, x: float, band: float) -> None:
        canvas, (w, h) = self.canvas, self._size(frame)
        left, bottom = x + (self.cell - w) / 2, self.y - band + (band - h) / 2
        canvas.drawImage(ImageReader(io.BytesIO(frame.thumbnail)), left, bottom, w, h)
        canvas.setFillGray(0.92)
        draw_line(canvas, x, self.y - band + 4, fonts.shortened(frame.number, 6.5, self.cell), 6.5)
        for order, mark in enumerate(frame.marks):
            _draw_mark(canvas, mark, (left, bottom, w, h), f"{frame.number}/{order}/{mark.kind}", order)


def _draw_mark(canvas: Canvas, mark: SheetMark, box: tuple[float, float, float, float], name: str, order: int) -> None:
    hand = random.Random(name)  # noqa: S311 - an unsteady hand, the same each time  # nosec B311
    red, green, blue = _INK[mark.line]
    x, y, w, h = box
    canvas.saveState()
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    if mark.line == "dashed":
        canvas.setDash(5, 8)
    inset = 0.04 + 0.07 * order  # a second person's mark lies inside the first
    for points in _strokes(mark.kind, hand, inset):
        placed = [(x + px * w, y + py * h) for px, py in points]
        for grey, width in ((True, 3.4), (False, 2.0)):  # a light edge keeps it legible on dark hair
            canvas.setStrokeColorRGB(*((1, 1, 1) if grey else (red, green, blue)))
            canvas.setLineWidth(width)
            path = canvas.beginPath()
            path.moveTo(*placed[0])
            for point in placed[1:]:
                path.lineTo(*point)
            canvas.drawPath(path, stroke=1, fill=0)
    canvas.restoreState()
    canvas.saveState()
    canvas.setFillColorRGB(1, 1, 1)
    at = x + w - 9 - 10 * order
    canvas.circle(at + 3, y + h - 6, 5, stroke=0, fill=1)
    canvas.setFillColorRGB(red, green, blue)
    draw_line(canvas, at, y + h - 9, mark.letter, 8, "bold")
    canvas.restoreState()


def _strokes(kind: Kind, hand: random.Random, inset: float) -> list[list[tuple[float, float]]]:
    """Poly-lines in the unit square, slightly unsteady."""
    low, high = inset, 1 - inset

    def wobble() -> float:
        return hand.uniform(-0.012, 0.012)

    if kind == "strike":
        steps = [i / 12 for i in range(13)]
        span = high - low
        return [[(low + span * t + wobble(), low + span * t + wobble()) for t in steps]]
    if kind == "alternate":
        arm = 0.16
        left = [(low + arm, high), (low, high), (low, low), (low + arm, low)]
        right = [(high - arm, high), (high, high), (high, low), (high - arm, low)]
        return [[(px + wobble(), py + wobble()) for px, py in side] for side in (left, right)]
    start, radius, points = hand.uniform(1.2, 1.9), (high - low) / 2, []
    for step in range(53):  # a little more than once round: the ends of a hand-drawn ring overlap
        angle = start + step / 50 * 2 * math.pi
        grown = radius * (1 - 0.0009 * step) + wobble() / 3
        points.append((0.5 + grown * math.cos(angle), 0.5 + grown * math.sin(angle)))
    return [points]


def _wrapped(text: str, size: float, room: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and fonts.width(f"{lines[-1]} {word}", size) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(fonts.shortened(word, size, room))
    return lines
