"""A list that the agent closed may stand open to the subject's objection for some hours; then it holds by the clock."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, frames_shown_to, require
from galleries.errors import BadInput, Conflict
from galleries.models import Frame, Invite, JournalLine, Mark, Round, Sitting, Verb
from galleries.steps.agreeing import rounds
from galleries.steps.people import letters, posting

WORDS_LENGTH = 300


def time_for(sitting: Sitting, closed_by: Invite | None) -> datetime | None:
    """Until when the subject may object to a list that is closed now by somebody invited; None: not at all.

    The hours begin when letters may go out, so that nobody's time runs through a night in which they heard of nothing.
    """
    by_agent = closed_by is not None and closed_by.is_representation
    if not by_agent or not sitting.objection_hours or not _may_hear(sitting):
        return None
    begins = timezone.now()
    for _hour in range(24):
        if not posting.is_quiet(sitting, begins):
            break
        begins = begins.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    return begins + timedelta(hours=sitting.objection_hours)


def _may_hear(sitting: Sitting) -> bool:
    return any(one.holds() for one in sitting.invites.filter(role=Invite.Role.SUBJECT))


def object_to_list(sitting: Sitting, by: Visitor, words: str) -> Round:
    """The subject does not agree with the closed list: it is open again for both sides, and everybody is told.

    Versions, approvals and marks are kept.

    Raises:
        Refused: not the subject's, or the time to object is over.
        BadInput: nothing was said, or too much.
        Conflict: somebody else opened the list at the same moment.
    """
    require(by, Act.OBJECT, sitting)
    reason = words.strip()
    if not reason:
        raise BadInput(_("Say what should change; the others read it."))
    if len(reason) > WORDS_LENGTH:
        raise BadInput(_("That is too long: say it in %d characters.") % WORDS_LENGTH)
    with transaction.atomic():
        if by.invite is not None:  # who objects is not through; the person's row before the sitting's, as with a mark
            Invite.objects.filter(pk=by.invite.voice.pk).update(picks_done_at=None)
        opened = rounds.open_again(sitting, by, reason, Verb.OBJECTED, objected_by=by.name)
        others = (one for one in rounds.of_the_sheet(sitting) if one != by.invite)
        letters.notify(sitting, "objected", others, about=f"round-{opened.number}")
        letters.notify_photographer(sitting, "objected", about=f"round-{opened.number}")
    return opened


def end_time(sitting: Sitting, by: Visitor) -> None:
    """The photographer does not wait any longer: the closed list holds from now on.

    Raises:
        Refused: only the photographer does.
        Conflict: no time to object runs.
    """
    require(by, Act.RUN, sitting, _("Only the photographer ends the time to object."))
    with transaction.atomic():
        now = timezone.now()
        last = sitting.rounds.select_for_update(no_key=True).order_by("-number").first()
        if last is None or sitting.objection_until is None:
            raise Conflict(_("No time to object runs."))
        Round.objects.filter(pk=last.pk).update(objection_until=now)
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.OBJECTION_TIME_ENDED, sitting.title)


def left_out(sitting: Sitting, by: Visitor) -> dict[str, list[Frame]]:
    """role → the picks of that side that are not on the closed list, of the frames that the subject sees."""
    require(by, Act.OBJECT, sitting)
    picks = Mark.objects.in_vain(sitting.finals.listed()).filter(frame__in=frames_shown_to(by, sitting).unhidden())
    by_side: dict[str, dict[int, Frame]] = {}
    for mark in picks.select_related("frame", "invite").order_by("frame__number", "pk"):
        by_side.setdefault(mark.invite.role, {})[mark.frame_id] = mark.frame
    return {role: list(frames.values()) for role, frames in by_side.items()}
