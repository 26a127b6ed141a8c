"""The licence sheet: what was agreed, as a PDF and as plain text with the same words."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from reportlab.platypus import Flowable, Spacer

from galleries.papers.manifest import FileEntry
from galleries.papers.page import CAUTION, document, para, section
from galleries.papers.terms import LicenceTerms, spoken_day


@dataclass(frozen=True)
class Acceptance:
    """Who accepted a version of the licence by typing a name, and when (aware time, shown as given)."""

    name: str
    accepted_at: datetime
    version: int

    def sentence(self) -> str:
        """The acceptance in words."""
        moment = f"{spoken_day(self.accepted_at.date())} at {self.accepted_at:%H:%M} {self.accepted_at:%Z}".strip()
        return f"{self.name} accepted version {self.version} on {moment}."


Section = tuple[str, list[str]]


def sections(
    terms: LicenceTerms, files: Sequence[FileEntry] = (), accepted: Sequence[Acceptance] = ()
) -> list[Section]:
    """Headings and lines of the sheet; raises BadTerms when the terms can't stand."""
    terms.validate()
    contact = [text for text in (terms.contact_email, terms.contact_telephone, terms.contact_url) if text]
    parties = [
        f"Photographer: {terms.photographer}" + (f", {terms.studio}" if terms.studio else ""),
        f"Licensed to: {terms.holder}",
        f"Person shown: {terms.subject}",
        *([f"Representation: {terms.representation}"] if terms.representation else []),
        *([f"Questions and further uses: {', '.join(contact)}"] if contact else []),
    ]
    listed = [
        f"{entry.name}"
        + (f" – {entry.use}" if entry.use else "")
        + (f" – {entry.width} × {entry.height} px" if entry.width else "")
        + f" – SHA-256 {entry.sha256}"
        for entry in files
    ]
    return [
        ("Parties", parties),
        ("What was agreed", terms.sentences()),
        ("Accepted", [item.sentence() for item in accepted] or ["Not yet accepted."]),
        ("Files", listed),
        ("Please note", list(CAUTION)),
    ]


def licence_sheet_text(
    terms: LicenceTerms, files: Sequence[FileEntry] = (), accepted: Sequence[Acceptance] = ()
) -> str:
    """The sheet as plain text, 78 columns."""
    out = [_title(terms), ""]
    for heading, lines in sections(terms, files, accepted):
        if lines:
            out += [heading.upper(), *(_wrapped(line) for line in lines), ""]
    return "\n".join(out)


def licence_sheet_pdf(
    terms: LicenceTerms,
    files: Sequence[FileEntry] = (),
    accepted: Sequence[Acceptance] = (),
    *,
    page: str = "A4",
) -> bytes:
    """The sheet as PDF; `page` is 'A4' or 'Letter'. The same input gives the same bytes."""
    flow: list[Flowable] = [para(_title(terms), 16, "bold", 8)]
    for heading, lines in sections(terms, files, accepted):
        flow += section(heading, lines)
    flow.append(Spacer(0, 4))
    return document(_title(terms), terms.photographer, flow, page, _title(terms))


def _title(terms: LicenceTerms) -> str:
    return f"Licence {terms.licence_id}, version {terms.version}"


def _wrapped(line: str) -> str:
    return textwrap.fill(line, 78, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
