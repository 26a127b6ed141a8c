"""Free fonts for the contact sheet, chosen per character so that names in any script come out and can be copied.

DejaVu Sans (Debian fonts-dejavu) and Droid Sans Fallback (Debian fonts-droid-fallback) when installed; else
the Bitstream Vera that comes with reportlab. No bidirectional reordering or shaping is done.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas

_DEBIAN = Path("/usr/share/fonts/truetype")
_FACES: dict[str, tuple[tuple[str, str | Path], ...]] = {
    "regular": (
        ("PaperSans", _DEBIAN / "dejavu/DejaVuSans.ttf"),
        ("PaperHan", _DEBIAN / "droid/DroidSansFallbackFull.ttf"),
        ("PaperVera", "Vera.ttf"),
    ),
    "bold": (
        ("PaperSansBold", _DEBIAN / "dejavu/DejaVuSans-Bold.ttf"),
        ("PaperHan", _DEBIAN / "droid/DroidSansFallbackFull.ttf"),
        ("PaperVeraBold", "VeraBd.ttf"),
    ),
}


@cache
def _font(name: str, path: str | Path) -> TTFont | None:
    try:
        font = TTFont(name, str(path))
    except (TTFError, OSError):
        return None
    pdfmetrics.registerFont(font)
    return font


@cache
def available(weight: str = "regular") -> tuple[str, ...]:
    """Names of the fonts that are there, best first; never empty, since reportlab brings one."""
    return tuple(name for name, path in _FACES[weight] if _font(name, path))


@cache
def font_for(character: str, weight: str = "regular") -> str:
    """The first font that has the character, or the first of all."""
    names = available(weight)
    covers = (name for name in names if ord(character) in pdfmetrics.getFont(name).face.charToGlyph)
    return next(covers, names[0])


def runs(text: str, weight: str = "regular") -> list[tuple[str, str]]:
    """The text cut into (font name, piece) so that every character has a glyph where any font has one."""
    pieces: list[tuple[str, str]] = []
    for character in text:
        name = pieces[-1][0] if pieces and character == " " else font_for(character, weight)
        if pieces and pieces[-1][0] == name:
            pieces[-1] = (name, pieces[-1][1] + character)
        else:
            pieces.append((name, character))
    return pieces


def width(text: str, size: float, weight: str = "regular") -> float:
    """Width in points of one line."""
    return sum(float(pdfmetrics.stringWidth(piece, name, size)) for name, piece in runs(text, weight))


def shortened(text: str, size: float, room: float, weight: str = "regular") -> str:
    """The text, ended by … where it would be wider than `room` points."""
    if width(text, size, weight) <= room:
        return text
    while text and width(text + "…", size, weight) > room:
        text = text[:-1]
    return text.rstrip() + "…"


def draw_line(canvas: Canvas, x: float, y: float, text: str, size: float, weight: str = "regular") -> float:
    """Draw one line of text with a font per run; returns the x after it."""
    for name, piece in runs(text, weight):
        canvas.setFont(name, size)
        canvas.drawString(x, y, piece)
        x += width(piece, size, weight)
    return x
