"""The days to keep free or to be done by: of one person in one sitting, and of all a photographer's sittings."""

from __future__ import annotations

from datetime import date

from django.conf import settings
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import access
from galleries.access import Act, Visitor, require
from galleries.models import Invite, Sitting
from galleries.models.sittings import PICKING
from galleries.papers import calendar
from galleries.papers.calendar import Day
from galleries.steps.people import asked


def of_person(by: Visitor, sitting: Sitting) -> list[Day]:
    """The sitting itself, picks while they are open, retouches that wait for this person's word. No address in it opens
    anything by itself.

    Raises:
        Refused: the plan is not this person's to see.
    """
    require(by, Act.SEE_PLAN, sitting, _("Only who may see the plan may see its days."))
    days = []
    if sitting.held_on:
        title = _("Sitting: %s") % sitting.title
        days.append(_day("day", sitting, sitting.held_on, title, sitting.place, reverse("plan", args=[sitting.slug])))
    person = by.invite
    if person is None or not person.is_side:
        return days
    if person.picks_done_at is None:
        days += _picks(sitting, reverse("sheet", args=[sitting.slug]))
    answer_by = asked.answer_by(asked.unanswered(person), sitting)
    if answer_by:
        title, text = _("Retouches to look at: %s"), _("The day by which your word on the retouches is wanted.")
        days.append(
            _day("answers", sitting, answer_by, title % sitting.title, text, reverse("finals", args=[sitting.slug]))
        )
    return days


def for_letter(kind: str, person: Invite | None, sitting: Sitting) -> list[Day]:
    """What a letter brings along: the day of the picks, to those it asks for them."""
    if person is not None and person.is_retoucher and kind in {"invitation", "work", "work_due"}:
        return _retouch(sitting)
    asks = kind in {"invitation", "reminder"} and person is not None and person.is_side
    return _picks(sitting, reverse("sheet", args=[sitting.slug])) if asks else []


def of_studio(user: User) -> list[Day]:
    """The day of the picks of each sitting this photographer may see and where picking goes on, the nearest first."""
    sittings = access.sittings_of(user).filter(stage__in=PICKING).order_by("deadline", "pk")
    return [day for one in sittings for day in _picks(one, reverse("studio-sitting", args=[one.slug]))]


def as_file(days: list[Day], name: str) -> bytes:
    """For a calendar, in the active language."""
    return calendar.written(days, name, timezone.now(), alarm=_("Tomorrow is the day"))


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


def _day(what: str, sitting: Sitting, on: date, title: str, text: str, path: str) -> Day:
    host = settings.BASE_URL.partition("://")[2].partition(":")[0] or "portal"
    return Day(f"{what}-{sitting.uid}@{host}", on, title, text, f"{settings.BASE_URL}{path}")
