"""The print release tells a lab that it may print, which files, and whom to ask (common practice, no source)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from galleries.papers.codes import Code
from galleries.papers.licence_fields import BadTerms
from galleries.papers.licence_wording import spoken_day
from galleries.papers.manifest import FileEntry
from galleries.papers.tagged import Paper, heading, line, section
from galleries.papers.terms import LicenceTerms


@dataclass(frozen=True)
class PrintRelease:
    """What the lab is told beside the licence: who signs and when, and how many prints (0 = any number)."""

    signed_by: str
    signed_on: date
    copies: int = 0


def release_sentences(terms: LicenceTerms, release: PrintRelease) -> list[str]:
    """The release in plain English; raises BadTerms when the licence allows no prints."""
    terms.validate()
    if "print-own" not in terms.uses:
        raise BadTerms(Code.NO_PRINTS)
    number = "any number of" if not release.copies else f"up to {release.copies}"
    until = f"until {spoken_day(terms.ends)}" if terms.ends else "without an end date"
    beyond = "Cropping to the print's shape is allowed." if "crop" in terms.alterations else "Print without cropping."
    return [
        f"I own the copyright in the pictures listed below, which show {terms.subject}.",
        f"I permit {terms.holder} to have {number} prints made of each, by any lab or printer, {until}.",
        f"The lab may do what printing needs: colour management and trimming. {beyond}",
        "The prints are for the licensee's own use. They are not for resale, and the files may be kept by the lab "
        "only as long as the order takes.",
        f"This release belongs to licence {terms.licence_id}, version {terms.version}.",
    ]


def print_release(terms: LicenceTerms, release: PrintRelease, files: Sequence[FileEntry], *, page: str = "A4") -> Paper:
    """The release before it is laid out: what is permitted, who signs, then every file the lab may print, however many
    pages; `page` is 'A4' or 'Letter'."""
    contact = [text for text in (terms.contact_email, terms.contact_telephone, terms.contact_url) if text]
    body = [
        heading("Permission to print"),
        line(f"To the lab or printer – from {terms.photographer}"),
        *(line(text) for text in release_sentences(terms, release)),
        line(f"Signed: {release.signed_by}, {spoken_day(release.signed_on)}", "signed"),
        line(", ".join([terms.studio] * bool(terms.studio) + [terms.photographer])),
        section("To verify this release", contact),
        section("Pictures", [_listed(entry) for entry in files]),
        line("General words; local law and licensed practice decide what holds.", "small"),
    ]
    title = f"Print release {terms.licence_id}"
    return Paper(title, terms.photographer, tuple(body), page, title)


def print_release_pdf(
    terms: LicenceTerms, release: PrintRelease, files: Sequence[FileEntry], *, page: str = "A4"
) -> bytes:
    """The release as a PDF; `page` is 'A4' or 'Letter'. The same input gives the same bytes."""
    return print_release(terms, release, files, page=page).pdf()


def _listed(entry: FileEntry) -> str:
    parts = [entry.name, entry.use, f"{entry.width} × {entry.height} px" if entry.width else ""]
    return ", ".join(part for part in parts if part)
