"""The licence sheet: what was agreed, as a PDF and as plain text with the same words."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from galleries.papers.licence_wording import spoken_day
from galleries.papers.manifest import FileEntry
from galleries.papers.page import CAUTION
from galleries.papers.tagged import Paper, heading, section
from galleries.papers.terms import LicenceTerms


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
    return [
        ("Parties", parties),
        ("What was agreed", terms.sentences()),
        ("Accepted", [item.sentence() for item in accepted] or ["Not yet accepted."]),
        ("Files", _counted(files)),
        ("Please note", list(CAUTION)),
    ]


def _counted(files: Sequence[FileEntry]) -> list[str]:
    """How many files for which use. Their names and checksums fill the manifest, so that this stays a sheet or two."""
    if not files:
        return []
    pixels: dict[str, set[str]] = {}
    for entry in files:
        pixels.setdefault(entry.use, set()).add(f"{entry.width} × {entry.height} px" if entry.width else "")
    lines = []
    for use, count in sorted(Counter(entry.use for entry in files).items()):
        sizes = pixels[use] - {""}
        line = f"{count} file{'' if count == 1 else 's'}" + (f" {use}" if use else "")
        lines.append(line + (f", {sizes.pop()}" if len(sizes) == 1 else ""))
    return [*lines, "Each file's name, pixels and SHA-256 checksum stand in the manifest of the delivery."]


def licence_sheet_text(
    terms: LicenceTerms, files: Sequence[FileEntry] = (), accepted: Sequence[Acceptance] = ()
) -> str:
    """The sheet as plain text, 78 columns."""
    out = [_title(terms), ""]
    for name, lines in sections(terms, files, accepted):
        if lines:
            out += [name.upper(), *(_wrapped(line) for line in lines), ""]
    return "\n".join(out)


def licence_sheet(
    terms: LicenceTerms,
    files: Sequence[FileEntry] = (),
    accepted: Sequence[Acceptance] = (),
    *,
    page: str = "A4",
) -> Paper:
    """The sheet before it is laid out; `page` is 'A4' or 'Letter'."""
    title = _title(terms)
    body = [heading(title), *(section(name, lines) for name, lines in sections(terms, files, accepted))]
    return Paper(title, terms.photographer, tuple(body), page, title)


def licence_sheet_pdf(
    terms: LicenceTerms,
    files: Sequence[FileEntry] = (),
    accepted: Sequence[Acceptance] = (),
    *,
    page: str = "A4",
) -> bytes:
    """The sheet as PDF; `page` is 'A4' or 'Letter'. The same input gives the same bytes."""
    return licence_sheet(terms, files, accepted, page=page).pdf()


def _title(terms: LicenceTerms) -> str:
    return f"Licence {terms.licence_id}, version {terms.version}"


def _wrapped(line: str) -> str:
    return textwrap.fill(line, 78, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
