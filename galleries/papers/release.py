"""The print release: one page that tells a lab it may print, and whom to ask (common practice, no source)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from reportlab.platypus import Flowable, Spacer

from galleries.papers import fonts
from galleries.papers.codes import Code
from galleries.papers.manifest import FileEntry
from galleries.papers.page import MARGIN, document, page_size, para, section
from galleries.papers.terms import BadTerms, LicenceTerms, spoken_day

LISTED = 12  # more files than this would push the release off its one page


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


def print_release_pdf(
    terms: LicenceTerms, release: PrintRelease, files: Sequence[FileEntry], *, page: str = "A4"
) -> bytes:
    """The release as a PDF of exactly one page; long lists are cut with a pointer to the manifest."""
    contact = [text for text in (terms.contact_email, terms.contact_telephone, terms.contact_url) if text]
    room = page_size(page)[0] - 2 * MARGIN - 12
    listed = [
        _line(entry.name + (f", {entry.width} × {entry.height} px" if entry.width else ""), room)
        for entry in files[:LISTED]
    ]
    if len(files) > LISTED:
        listed.append(f"and {len(files) - LISTED} more, as listed in the delivery's manifest.")
    flow: list[Flowable] = [
        para("Permission to print", 18, "bold", 4),
        para(_line(f"To the lab or printer – from {terms.photographer}", room), 10, after=8),
        *(para(line, after=5) for line in release_sentences(terms, release)),
        *section("Pictures", listed),
        Spacer(0, 14),
        para(_line(f"Signed: {release.signed_by}, {spoken_day(release.signed_on)}", room), 11, "bold"),
        para(_line(", ".join([terms.studio] * bool(terms.studio) + [terms.photographer]), room)),
        *(
            [para("To verify this release:"), *(para(_line(text, room), after=0) for text in contact)]
            if contact
            else []
        ),
        para("General words; local law and licensed practice decide what holds.", 8),
    ]
    return document(f"Print release {terms.licence_id}", terms.photographer, flow, page)


def _line(text: str, room: float) -> str:
    return fonts.shortened(text, 11, room, "bold")
