"""The days to keep free or to be done by: of one person in one sitting, and of all a photographer's sittings."""

from __future__ import annotations

from datetime import date, datetime

from django.conf import settings
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.models import Invite, Sitting
from galleries.papers import calendar
from galleries.papers.calendar import Day
from galleries.steps.people import asked, due
from galleries.steps.people.due import Due, What


def of_person(by: Visitor, sitting: Sitting) -> list[Day]:
    """The sitting itself, picks while they are open, retouches that wait for this person's word, the end of the time to
    object. No address in it opens anything by itself.

    Raises:
        Refused: the plan is not this person's to see.
    """
    require(by, Act.SEE_PLAN, sitting, _("Only who may see the plan may see its days."))
    days, person = _held(sitting), by.invite
    if person is None or not person.is_side:
        return days
    if person.picks_done_at is None:
        days += _picks(sitting, reverse("sheet", args=[sitting.slug]))
    return days + _answers(sitting, person) + _objection(sitting, person)


def for_letter(kind: str, person: Invite | None, sitting: Sitting) -> list[Day]:
    """What a letter brings along: the day that it names, to those it asks for something by then."""
    if person is None:
        return _removal(sitting) if kind == "removal" else []
    if person.is_retoucher and kind in {"invitation", "work", "work_due"}:
        return _retouch(sitting)
    if kind == "plan":
        days = _held(sitting) if sitting.stage == Sitting.Stage.PLANNING else []
        return days + (_picks(sitting, reverse("sheet", args=[sitting.slug])) if person.is_side else [])
    if not person.is_side:
        return []
    if kind in {"invitation", "proofs", "reminder"}:
        return _picks(sitting, reverse("sheet", args=[sitting.slug]))
    if kind in {"retouch", "answer"}:
        return _answers(sitting, person)
    return _objection(sitting, person) if kind == "closed" else []


def of_studio(user: User) -> list[Day]:
    """All that is due in the sittings this photographer may see, the nearest first."""
    return [_of_studio(one) for one in due.of_studio(user)]


def _of_studio(one: Due) -> Day:
    sitting, slug = one.sitting, [one.sitting.slug]
    if one.what == What.REMOVAL:
        return _removal(sitting)[0]
    titles = {
        What.SITTING: (_("Sitting: %s"), sitting.place, "studio-sitting"),
        What.PICKS: (_("Picks wanted: %s"), _("The last day to mark picks."), "studio-lists"),
        What.ANSWERS: (_("Word on retouches wanted: %s"), _("Somebody's word is wanted by then."), "studio-finals"),
        What.OBJECTION: (_("Time to object ends: %s"), _("Then the closed list holds."), "studio-lists"),
    }
    title, text, page = titles[one.what]
    return _day(one.what.value, sitting, one.on, title % sitting.title, text, reverse(page, args=slug), one.at)


def as_file(days: list[Day], name: str) -> bytes:
    """For a calendar, in the active language."""
    return calendar.written(days, name, timezone.now(), alarm=_("This is due soon"))


def _held(sitting: Sitting) -> list[Day]:
    if sitting.held_on is None:
        return []
    title, path = _("Sitting: %s") % sitting.title, reverse("plan", args=[sitting.slug])
    return [_day("day", sitting, sitting.held_on, title, sitting.place, path)]


def _picks(sitting: Sitting, path: str) -> list[Day]:
    """The day of the picks, while they are open."""
    if sitting.deadline is None or not sitting.is_picking:
        return []
    title = _("Picks wanted: %s") % sitting.title
    return [_day("picks", sitting, sitting.deadline, title, _("The last day to mark picks."), path)]


def _retouch(sitting: Sitting) -> list[Day]:
    """The day on which a retoucher's versions are wanted."""
    if sitting.retouch_by is None:
        return []
    title, text = _("Retouches wanted: %s") % sitting.title, _("The last day to send versions.")
    return [_day("retouch", sitting, sitting.retouch_by, title, text, reverse("retouching", args=[sitting.slug]))]


def _answers(sitting: Sitting, person: Invite) -> list[Day]:
    answer_by = asked.answer_by(asked.unanswered(person), sitting)
    if answer_by is None:
        return []
    title, text = _("Retouches to look at: %s"), _("The day by which your word on the retouches is wanted.")
    return [_day("answers", sitting, answer_by, title % sitting.title, text, reverse("finals", args=[sitting.slug]))]


def _objection(sitting: Sitting, person: Invite) -> list[Day]:
    """To the subject, while they may object."""
    until = sitting.objection_until
    if until is None or not person.is_subject:
        return []
    title, path = _("Time to object ends: %s") % sitting.title, reverse("objection", args=[sitting.slug])
    text = _("If you do not agree with the closed list, say so until then. If you say nothing, it holds.")
    return [_day("objection", sitting, timezone.localdate(until), title, text, path, until)]


def _removal(sitting: Sitting) -> list[Day]:
    if sitting.keep_until is None:
        return []
    title, path = _("Kept until then: %s") % sitting.title, reverse("studio-keeping", args=[sitting.slug])
    text = _("The last day of keeping; afterwards it is removed for good.")
    return [_day("removal", sitting, sitting.keep_until, title, text, path)]


def _day(what: str, sitting: Sitting, on: date, title: str, text: str, path: str, at: datetime | None = None) -> Day:
    host = settings.BASE_URL.partition("://")[2].partition(":")[0] or "portal"
    return Day(f"{what}-{sitting.uid}@{host}", on, title, text, f"{settings.BASE_URL}{path}", at)
