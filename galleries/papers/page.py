"""What all papers share: page sizes, the cautions, and a line of text drawn with a font per run."""

from __future__ import annotations

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from galleries.papers import fonts

PAGES = {"A4": A4, "Letter": LETTER}

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


def draw_line(canvas: Canvas, x: float, y: float, text: str, size: float, weight: str = "regular") -> float:
    """Draw one line of text with a font per run; returns the x after it."""
    for name, piece in fonts.runs(text, weight):
        canvas.setFont(name, size)
        canvas.drawString(x, y, piece)
        x += fonts.width(piece, size, weight)
    return x
