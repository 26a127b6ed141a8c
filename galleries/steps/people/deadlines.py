"""The days to keep free or to be done by: of one person in one sitting, and of all a photographer's sittings."""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth.models import User
from django.urls import reverse
from django.utils.translation import gettext as _

from galleries import access
from galleries.access import Act, Visitor, require
from galleries.models import Invite, Sitting
from galleries.models.sittings import PICKING
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
        days.append(
            Day(
                _uid("day", sitting),
                sitting.held_on,
                title,
                sitting.place,
                _address(reverse("plan", args=[sitting.slug])),
            )
        )
    person = by.invite
    if person is None or not person.is_side:
        return days
    if sitting.deadline and sitting.is_picking and person.picks_done_at is None:
        days.append(_picks(sitting, reverse("sheet", args=[sitting.slug])))
    answer_by = asked.answer_by(asked.unanswered(person), sitting)
    if answer_by:
        days.append(
            Day(
                _uid("answers", sitting),
                answer_by,
                _("Retouches to look at: %s") % sitting.title,
                _("The day by which your word on the retouches is wanted."),
                _address(reverse("finals", args=[sitting.slug])),
            )
        )
    return days


def for_letter(kind: str, person: Invite | None, sitting: Sitting) -> list[Day]:
    """What a letter brings along: the day of the picks, to those it asks for them."""
    asks = kind in {"invitation", "reminder"} and person is not None and person.is_side
    if not asks or not sitting.deadline or not sitting.is_picking:
        return []
    return [_picks(sitting, reverse("sheet", args=[sitting.slug]))]


def of_studio(user: User) -> list[Day]:
    """The day of the picks of each sitting this photographer may see and where picking goes on, the nearest first."""
    sittings = access.sittings_of(user).filter(stage__in=PICKING).exclude(deadline=None).order_by("deadline", "pk")
    return [_picks(sitting, reverse("studio-sitting", args=[sitting.slug])) for sitting in sittings]


def _picks(sitting: Sitting, path: str) -> Day:
    if sitting.deadline is None:
        raise ValueError("a sitting without a deadline")
    title = _("Picks wanted: %s") % sitting.title
    return Day(_uid("picks", sitting), sitting.deadline, title, _("The last day to mark picks."), _address(path))


def _uid(what: str, sitting: Sitting) -> str:
    return f"{what}-{sitting.uid}@{settings.BASE_URL.partition('://')[2].partition(':')[0] or 'portal'}"


def _address(path: str) -> str:
    return f"{settings.BASE_URL}{path}"
