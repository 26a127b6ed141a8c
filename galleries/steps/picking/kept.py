"""What the subject keeps from the representation: whole looks, and the frames that were in them, wherever they lie now.

Kept back follows the frame: moved, split or merged elsewhere, or taken out of every look, it stays kept until the
subject lets it go. The list cannot be closed with such a frame (`agreeing.agree`), and nothing made of it is shown to
anybody but the photographer and the subject (`access`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, frames_shown_to, may, require
from galleries.errors import BadInput, Refused
from galleries.models import Frame, Invite, JournalLine, Look, Sitting, Verb
from galleries.steps.sorting import looks


@dataclass(frozen=True)
class Kept:
    """What lies together: a look kept back as a whole, or single frames in a look that is shown, or in none."""

    look: Look | None
    whole: bool
    frames: tuple[Frame, ...]


def keep_look(by: Visitor, look: Look) -> None:
    """The subject keeps a look, and every frame that lies in it, from the representation.

    Raises:
        Refused: the photographer did not leave this to the subject.
    """
    require(by, Act.CHOOSE_LOOKS, look, _("Which looks the agent sees is the photographer's to say in this sitting."))
    with transaction.atomic():
        locked = Sitting.objects.select_for_update(no_key=True).get(pk=look.sitting_id)
        require(by, Act.CHOOSE_LOOKS, locked)  # somebody may have closed the list at this moment
        # Said by a person: the program neither takes the look apart again nor drops it.
        Look.objects.filter(pk=look.pk).update(
            kept_from_representation=True, kept_by_subject=True, made_by_program=False
        )
        look.frames.update(kept_by_subject=True)
        looks.hold_together(look)
        stages.touch(look.sitting)
        JournalLine.write(look.sitting, by.who, Verb.LOOK_KEPT_BACK, look.title)
    look.refresh_from_db()


def held(by: Visitor, sitting: Sitting) -> list[Kept]:
    """What the subject keeps back and can let go, look by look as they lie now, frames without a look last."""
    require(by, Act.LET_GO, sitting)
    by_look: dict[int | None, list[Frame]] = {}
    frames = frames_shown_to(by, sitting).kept_back().filter(proofs__isnull=False).distinct()
    for frame in frames.select_related("look").order_by("captured_at", "name", "pk"):
        by_look.setdefault(frame.look_id, []).append(frame)
    rows = []
    for look in sitting.looks.unhidden():
        frames_here, whole = tuple(by_look.pop(look.pk, ())), _theirs(by, look)
        if whole or (frames_here and not look.kept_from_representation):
            rows.append(Kept(look, whole, frames_here))
    if loose := by_look.get(None):
        rows.append(Kept(None, False, tuple(loose)))
    return rows


def _theirs(by: Visitor, look: Look) -> bool:
    """Is it a look that the subject may show again: kept by them, or left to them to choose?"""
    if not look.kept_from_representation:
        return False
    return look.kept_by_subject or may(by, Act.CHOOSE_LOOKS, look.sitting)


def who_would_see(sitting: Sitting) -> list[Invite]:
    """The people who do not see what is kept back, and will when it is let go."""
    people = sitting.invites.exclude(role=Invite.Role.SUBJECT).select_related("passed_from").order_by("role", "name")
    return [person for person in people if person.holds()]


def let_go(by: Visitor, sitting: Sitting, frame_ids: Iterable[int], look: Look | None = None) -> list[Frame]:
    """The subject lets these frames be seen, each by its name, and the look as a whole when it is given.

    A frame of that look that is not named (it came in later, or the subject has not been shown it) stays kept back.

    Raises:
        Refused: somebody else's word, or a look that the photographer keeps back.
        BadInput: a frame that is not on their sheet, or not kept back.
    """
    require(by, Act.LET_GO, sitting, _("Only the subject lets go of what they keep from the representation."))
    if look is not None and not (look.sitting_id == sitting.pk and _theirs(by, look)):
        raise Refused(_("“%s” is kept from the representation by the photographer.") % look.title)
    wanted = set(frame_ids)
    with transaction.atomic():
        Sitting.objects.select_for_update(no_key=True).get(pk=sitting.pk)
        frames = list(frames_shown_to(by, sitting).kept_back().filter(pk__in=wanted).order_by("captured_at", "pk"))
        if len(frames) != len(wanted) or not (wanted or look):
            raise BadInput(_("What is kept back has changed meanwhile. Load the page again."))
        if look is not None:
            look.frames.exclude(pk__in=wanted).update(kept_by_subject=True)
            Look.objects.filter(pk=look.pk).update(kept_from_representation=False, kept_by_subject=False)
        Frame.objects.filter(pk__in=wanted).update(kept_by_subject=False)
        stages.touch(sitting)
        JournalLine.write(
            sitting, by.who, Verb.LOOK_SHOWN if look else Verb.FRAMES_LET_GO, look.title if look else str(len(frames)),
            frames=[frame.name for frame in frames],
        )  # fmt: skip
    return frames
