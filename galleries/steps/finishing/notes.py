"""What is said about a final: notes pinned to the picture, the brief, the alternative text."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput
from galleries.models import (
    Final,
    JournalLine,
    PinnedNote,
    Verb,
    Version,
)


def pin_note(
    final: Final,
    by: Visitor,
    x: float,
    y: float,
    width: float = 0.0,
    height: float = 0.0,
    text: str = "",
    version: Version | None = None,
) -> PinnedNote:
    """Pin a wish to a point or region, in fractions of the picture: of the version that was looked at, or the frame.

    Raises:
        Refused: not this person's to do, or not now.
        BadInput: no text, a place outside the picture, or a version of another final.
    """
    require(by, Act.PIN_NOTE, final, _("Notes can be pinned while the finals are being finished."))
    if not text.strip():
        raise BadInput(_("Write what should be done at this place."))
    if not (
        0 <= x <= 1 and 0 <= y <= 1 and width >= 0 and height >= 0 and x + width <= 1.0001 and y + height <= 1.0001
    ):
        raise BadInput(_("The note lies outside the picture."))
    if version is not None and version.final_id != final.pk:
        raise BadInput(_("There is no such version of this final."))
    with transaction.atomic():
        note = PinnedNote.objects.create(
            final=final, version=version, x=x, y=y, width=width, height=height, text=text.strip()[:1000], who=by.name,
            invite=by.invite,
        )  # fmt: skip
        stages.touch(final.sitting)
        JournalLine.write(final.sitting, by.who, Verb.NOTE_PINNED, f"final {final.frame.label}", text=note.text[:200])
    return note


def settle_note(note: PinnedNote, by: Visitor, done: bool = True) -> None:
    """The retoucher did it (or not yet)."""
    require(by, Act.RUN, note.final, _("The photographer says when a note is done."))
    with transaction.atomic():
        PinnedNote.objects.filter(pk=note.pk).update(done=done)
        stages.touch(note.final.sitting)
        JournalLine.write(
            note.final.sitting, by.who, Verb.NOTE_DONE if done else Verb.NOTE_OPEN, f"final {note.final.frame.label}"
        )
    note.refresh_from_db()


def set_brief(final: Final, by: Visitor, text: str) -> None:
    """What is wanted of the retouch in all."""
    require(by, Act.RUN, final, _("The brief is the photographer's to write."))
    with transaction.atomic():
        Final.objects.filter(pk=final.pk).update(brief=text.strip()[:5000])
        stages.touch(final.sitting)
        JournalLine.write(final.sitting, by.who, Verb.BRIEF_WRITTEN, f"final {final.frame.label}")
    final.refresh_from_db()


def set_alt_text(final: Final, by: Visitor, text: str) -> None:
    """A description for people who cannot see the picture; it goes into the delivered files.

    Raises:
        BadInput: longer than the 250 characters the IPTC standard recommends.
    """
    require(by, Act.RUN, final, _("The description is the photographer's to write."))
    text = " ".join(text.split())
    if len(text) > 250:
        raise BadInput(_("The description has %d characters; 250 are the most.") % len(text))
    with transaction.atomic():
        Final.objects.filter(pk=final.pk).update(alt_text=text)
        JournalLine.write(final.sitting, by.who, Verb.DESCRIPTION_WRITTEN, f"final {final.frame.label}")
    final.refresh_from_db()
