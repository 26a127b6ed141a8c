"""Papers of words as tagged PDFs: headings, lists and language can be read aloud and reflowed (PDF/UA-1, ISO 14289-1).

WeasyPrint lays them out; Pango shapes names in every script, right to left too. The same content gives the same bytes:
nothing in them is a clock's or a chance's. Nothing is fetched: a paper holds words only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Any, NoReturn

from galleries.papers.page import page_size

# The first family that has a sign draws it; the second is for Han, kana and hangul (Debian fonts-droid-fallback).
_STYLE = """
@page { size: %(width)spt %(height)spt; margin: 52pt 54pt;
  @bottom-left { content: "%(foot)s" "%(word)s" counter(page); font-size: 8pt } }
html { font-family: "DejaVu Sans", "Droid Sans Fallback", sans-serif; font-size: 9.5pt; line-height: 1.36 }
* { margin: 0; padding: 0; overflow-wrap: anywhere }
h1 { font-size: 16pt; line-height: 1.25; margin-bottom: 6pt }
h2 { font-size: 10.5pt; margin: 9pt 0 2pt; break-after: avoid }
ul { list-style: none } li, p { margin-bottom: 3pt }
.signed { font-size: 11pt; font-weight: bold; margin-top: 14pt } .small { font-size: 8pt; margin-top: 8pt }
"""


def heading(text: str, level: int = 1) -> str:
    """A heading of the paper (1) or of a section (2)."""
    return f"<h{level}>{_plain(text)}</h{level}>"


def line(text: str, kind: str = "") -> str:
    """A paragraph; `kind` is '', 'signed' or 'small'."""
    return f'<p class="{kind}">{_plain(text)}</p>' if kind else f"<p>{_plain(text)}</p>"


def section(title: str, lines: Sequence[str]) -> str:
    """A heading and its lines as a list; nothing where there are no lines."""
    if not lines:
        return ""
    items = "".join(f"<li>{_plain(text)}</li>" for text in lines)
    return f"<section>{heading(title, 2)}<ul>{items}</ul></section>"


def get_ready() -> None:
    """Load what lays them out, 0.8 s of processor time, while nobody waits for a paper."""
    import weasyprint  # noqa: F401


@dataclass(frozen=True)
class Paper:
    """All that a PDF of the pieces above is made of: of two that are equal the bytes are the same.

    `page` is 'A4' or 'Letter'; `foot` stands at the bottom of every page before its number; `language` (BCP 47) is that
    of the pieces.
    """

    title: str
    author: str
    body: tuple[str, ...]
    page: str = "A4"
    foot: str = ""
    language: str = "en"
    page_word: str = "page"

    def pdf(self) -> bytes:
        """Laid out. Raises `ValueError` for a page that there is not."""
        # Loaded here: a page of the site that makes no paper does not pay for it.
        from weasyprint import HTML

        width, height = page_size(self.page)
        foot, word = (_in_css(text) for text in (f"{self.foot}, " if self.foot else "", f"{self.page_word} "))
        style = _STYLE % {"width": width, "height": height, "foot": foot, "word": word}
        html = (
            f'<!doctype html><html lang="{escape(self.language)}"><head><meta charset="utf-8">'
            f"<title>{escape(self.title)}</title>"
            f'<meta name="author" content="{escape(self.author)}"><style>{style}</style></head>'
            f"<body>{''.join(self.body)}</body></html>"
        )
        pdf: bytes = HTML(string=html, url_fetcher=refuse).write_pdf(pdf_variant="pdf/ua-1", pdf_tags=True)
        return pdf


def _in_css(text: str) -> str:
    return "".join(f"\\{ord(sign):06x}" for sign in text)


def _plain(text: str) -> str:
    return escape(text).replace("\n", "<br>")


def refuse(url: str, *_: Any, **__: Any) -> NoReturn:
    raise ValueError(f"A paper fetches nothing, and asked for {url[:80]!r}.")
