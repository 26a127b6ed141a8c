"""What all papers share: page sizes, styles, and a document whose bytes depend on nothing but its content."""

from __future__ import annotations

import io
from collections.abc import Sequence

from reportlab.lib.enums import TA_LEFT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, SimpleDocTemplate, Spacer

from galleries.papers import fonts

PAGES = {"A4": A4, "Letter": LETTER}
MARGIN = 54.0

CAUTION = (
    "This sheet records in general words what was agreed. It is not legal advice: local law and licensed "
    "practice decide what holds.",
    "A data-mining reservation is a notice to others, not a technical protection.",
    "A model-release status states what is on paper and claims nothing beyond it.",
    "For a minor, a parent or guardian consents, and that is recorded before anybody is invited.",
)


def page_size(name: str) -> tuple[float, float]:
    """Width and height in points of 'A4' or 'Letter'; raises ValueError for another."""
    if name not in PAGES:
        raise ValueError(f"'{name}' is not a page size; known are {', '.join(PAGES)}.")
    width, height = PAGES[name]
    return float(width), float(height)


def style(size: float = 10, weight: str = "regular", after: float = 4, indent: float = 0) -> ParagraphStyle:
    """A left-aligned paragraph style; breaks long words so that nothing leaves the page."""
    return ParagraphStyle(
        f"paper-{weight}-{size}-{indent}",
        fontName=fonts.available(weight)[0],
        fontSize=size,
        leading=size * 1.4,
        spaceAfter=after,
        leftIndent=indent,
        alignment=TA_LEFT,
        splitLongWords=1,
    )


def para(text: str, size: float = 10, weight: str = "regular", after: float = 4, indent: float = 0) -> Paragraph:
    """A paragraph in plain text (no markup is understood in it)."""
    return Paragraph(fonts.markup(text, weight), style(size, weight, after, indent))


def section(title: str, lines: Sequence[str]) -> list[Flowable]:
    """A small heading with its lines; the heading stays with the first line."""
    if not lines:
        return []
    first, *rest = [para(line) for line in lines]
    return [Spacer(0, 6), KeepTogether([para(title, 11, "bold"), first]), *rest]


def document(title: str, author: str, flow: list[Flowable], page: str = "A4", foot: str = "") -> bytes:
    """A PDF with page numbers; the same content gives the same bytes."""
    size, out = page_size(page), io.BytesIO()

    def mark(canvas: Canvas, _: object) -> None:
        draw_line(canvas, MARGIN, 30, f"{foot}    {canvas.getPageNumber()}".strip(), 8)

    built = SimpleDocTemplate(
        out,
        pagesize=size,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=title,
        author=author,
        invariant=1,
        lang="en",
    )
    built.build(flow, onFirstPage=mark, onLaterPages=mark)
    return out.getvalue()


def draw_line(canvas: Canvas, x: float, y: float, text: str, size: float, weight: str = "regular") -> float:
    """Draw one line of text with a font per run; returns the x after it."""
    for name, piece in fonts.runs(text, weight):
        canvas.setFont(name, size)
        canvas.drawString(x, y, piece)
        x += fonts.width(piece, size, weight)
    return x
