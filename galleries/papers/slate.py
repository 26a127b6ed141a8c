"""Slates: a page for each sitter of a day with their name and a code, to be photographed before them. A5, tagged as the
other papers of words are."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import NamedTuple

import segno

from galleries.imaging.slate_codes import CORRECTION
from galleries.papers import tagged

QUIET_ZONE = 4  # modules of white around a code (ISO/IEC 18004)
LARGEST, SMALLEST = 46.0, 16.0  # points of a name
_STYLE = """
@page { size: A5; margin: 12mm }
html { font-family: "DejaVu Sans", "Droid Sans Fallback", sans-serif; text-align: center; color: #000 }
* { margin: 0; padding: 0; overflow-wrap: anywhere }
section { break-after: page; height: 184mm } section:last-child { break-after: auto }
h1 { line-height: 1.15; margin-bottom: 6mm } svg { width: 104mm; height: 104mm }
p { font-size: 12pt; margin-top: 5mm }
"""


class Slate(NamedTuple):
    """`line` says the day and the sitter's place in it."""

    name: str
    code: str
    line: str


def drawn(code: str) -> tuple[str, int]:
    """The code as one SVG path of unit squares, and the side of its picture with the white margin."""
    rows = segno.make(code, error=CORRECTION, boost_error=False).matrix
    squares = (
        f"M{x + QUIET_ZONE} {y + QUIET_ZONE}h1v1h-1z"
        for y, row in enumerate(rows)
        for x, dark in enumerate(row)
        if dark
    )
    return "".join(squares), len(rows) + 2 * QUIET_ZONE


def name_size(name: str) -> float:
    """Points in which a name stands on its page in two lines at most."""
    return max(SMALLEST, min(LARGEST, 46.0 * 22 / max(22, len(name))))


def pages(slates: Sequence[Slate], title: str, language: str = "en") -> bytes:
    """The PDF, a page for each slate."""
    from weasyprint import HTML

    html = (
        f'<!doctype html><html lang="{escape(language)}"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head><body>{''.join(map(_page, slates))}</body></html>"
    )
    pdf: bytes = HTML(string=html, url_fetcher=tagged.refuse).write_pdf(pdf_variant="pdf/ua-1", pdf_tags=True)
    return pdf


def _page(slate: Slate) -> str:
    path, side = drawn(slate.code)
    return (
        f'<section><h1 style="font-size:{name_size(slate.name):.1f}pt">{escape(slate.name)}</h1>'
        f'<svg viewBox="0 0 {side} {side}" role="img" aria-label="{escape(slate.name)}"><path d="{path}"/></svg>'
        f"<p>{escape(slate.line)}</p></section>"
    )
