"""Who is asked to approve a version or to make one, and by when."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from galleries.access import AGREED, Visitor, finals_shown_to
from galleries.models import Final, Frame, Invite, Sitting, Version


def roles_asked(final: Final) -> list[str]:
    """Whose approval a version of this final needs: the subject's, and the representation's where the sitting says so
    and the frame is not kept from them."""
    asked: list[str] = [Invite.Role.SUBJECT]
    if _representation_asked(final.sitting) and not final.frame.is_kept_back:
        asked.append(Invite.Role.REPRESENTATION)
    return asked


def gives_word(person: Invite) -> bool:
    """Is it this person who approves retouches of the sitting, and gets a letter of each?"""
    return person.is_subject or (person.is_representation and _representation_asked(person.sitting))


def _representation_asked(sitting: Sitting) -> bool:
    people = sitting.invites.filter(role=Invite.Role.REPRESENTATION)
    return sitting.representation_approves and any(person.holds() for person in people)


def approvers(sitting: Sitting) -> list[Invite]:
    """Who gets a letter that retouches are there: whoever is asked about one that waits."""
    roles: list[str] = [Invite.Role.SUBJECT]
    waiting = sitting.finals.listed().filter(state=Final.State.SHOWN)
    if _representation_asked(sitting) and waiting.filter(frame__in=Frame.objects.let_go()).exists():
        roles.append(Invite.Role.REPRESENTATION)
    return [person for person in sitting.invites.filter(role__in=roles) if person.holds()]


def unanswered(person: Invite) -> list[Version]:
    """The versions that wait for this person's word: the newest let out of each final that is shown."""
    finals = person.sitting.finals.listed().filter(state=Final.State.SHOWN).select_related("frame__look", "sitting")
    asked = [final for final in finals if person.role in roles_asked(final)]
    open_ones = Version.objects.newest_sent().filter(final__in=asked).exclude(approvals__invite__role=person.role)
    return list(open_ones.select_related("final__frame").order_by("final__position", "final"))


def to_retouch(person: Invite) -> list[str]:
    """Labels of the finals that wait for a retoucher's version; nobody else is told of them."""
    if not person.is_retoucher or person.sitting.stage not in AGREED:
        return []
    finals = finals_shown_to(Visitor(invite=person), person.sitting).to_retouch()
    return [one.frame.label for one in finals.select_related("frame")]


def answer_by(versions: list[Version], sitting: Sitting) -> date | None:
    """The day by which the first of these is to be answered, by the sitting's clock; None without any, or where the
    photographer sets no days."""
    days = [version.sent_at.astimezone(ZoneInfo(sitting.time_zone)).date() for version in versions if version.sent_at]
    if not days or not sitting.answer_days:
        return None
    return min(days) + timedelta(days=sitting.answer_days)
