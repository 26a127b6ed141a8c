"""What is drawn on a canvas, told as a tree of headings, paragraphs and figures, so that it can be read aloud: the
logical structure of a tagged PDF (ISO 32000-1, 14.7 and 14.8)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas


@dataclass
class _Element:
    kind: str
    page: int = -1  # from 0; -1 for what holds other elements
    mark: int = -1  # its marked content on that page
    alternative: str = ""
    inside: list[_Element] = field(default_factory=list)


class Structure:
    """Headings, paragraphs and figures in the order in which they are drawn; all else is an artifact.

    Everything is drawn inside `element` or `artifact`, neither of them inside another; `page_ends` before each page
    is shown, and `write` once after the last.
    """

    def __init__(self, canvas: Canvas) -> None:
        self._canvas = canvas
        self._root = _Element("Document")
        self._part = self._root
        self._pages: list[list[_Element]] = [[]]

    def section(self) -> None:
        """What is drawn from now on is a part of its own."""
        self._part = _Element("Sect")
        self._root.inside.append(self._part)

    @contextmanager
    def element(self, kind: str, alternative: str = "") -> Iterator[None]:
        """What is drawn inside is one element: 'H1', 'H2', 'P' or 'Figure' (ISO 32000-1, 14.8.4); `alternative` is
        what is said in place of a figure."""
        here = self._pages[-1]
        element = _Element(kind, len(self._pages) - 1, len(here), alternative)
        self._part.inside.append(element)
        here.append(element)
        with self._marked(f"/{kind} <</MCID {element.mark}>> BDC"):
            yield

    @contextmanager
    def artifact(self) -> Iterator[None]:
        """What is drawn inside is not content: grounds, numbers of pages, heads that stood before."""
        with self._marked("/Artifact BMC"):
            yield

    @contextmanager
    def _marked(self, begin: str) -> Iterator[None]:
        self._canvas._code.append(begin)
        yield
        self._canvas._code.append("EMC")

    def page_ends(self) -> None:
        self._pages.append([])

    def write(self) -> None:
        """Into the document, whose pages have all been shown."""
        document: Any = self._canvas._doc
        pages = document.Pages.pages
        top = pdfdoc.PDFDictionary({"Type": pdfdoc.PDFName("StructTreeRoot")})
        references: dict[int, Any] = {}
        top["K"] = self._write(self._root, document.Reference(top), document, references)
        numbers: list[Any] = []
        for number, (page, elements) in enumerate(zip(pages, self._pages, strict=False)):
            numbers += [number, pdfdoc.PDFArray([references[id(one)] for one in elements])]
            page.__NoDefault__ = [*page.__NoDefault__, "StructParents", "Tabs"]
            page.StructParents, page.Tabs = number, pdfdoc.PDFName("S")
        top["ParentTree"] = document.Reference(pdfdoc.PDFDictionary({"Nums": pdfdoc.PDFArray(numbers)}))
        top["ParentTreeNextKey"] = len(pages)
        document.Catalog.StructTreeRoot = top
        document.Catalog.MarkInfo = pdfdoc.PDFDictionary({"Marked": "true"})
        self._canvas.setViewerPreference("DisplayDocTitle", "true")

    def _write(self, element: _Element, parent: Any, document: Any, references: dict[int, Any]) -> Any:
        entries: dict[str, Any] = {"Type": pdfdoc.PDFName("StructElem"), "S": pdfdoc.PDFName(element.kind), "P": parent}
        node = pdfdoc.PDFDictionary(entries)
        reference = references[id(element)] = document.Reference(node)
        if element.page >= 0:
            node["Pg"] = document.Reference(document.Pages.pages[element.page])
            node["K"] = element.mark
        else:
            inside = [self._write(one, reference, document, references) for one in element.inside]
            node["K"] = pdfdoc.PDFArray(inside)
        if element.alternative:
            node["Alt"] = pdfdoc.PDFString(element.alternative)
        return reference
