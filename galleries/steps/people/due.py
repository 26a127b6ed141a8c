"""What is due, when, and whom it waits for: one sitting's, and all that a photographer may see."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from django.contrib.auth.models import User
from django.db.models import Exists, OuterRef
from django.utils import timezone

from galleries import access
from galleries.models import Final, Invite, Round, Sitting
from galleries.models.sittings import PICKING
from galleries.steps.people import asked


class What(StrEnum):
    SITTING = "day"
    PICKS = "picks"
    ANSWERS = "answers"
    OBJECTION = "objection"
    REMOVAL = "removal"


# Those whose people can be written to by hand: silence is an answer to the others.
REMINDED = frozenset({What.PICKS, What.ANSWERS})


@dataclass(frozen=True)
class Due:
    """`on`: the day by the sitting's clock; `at`: the moment, where it is one. `people`: who has not done it yet; none
    for what is the studio's or nobody's to do."""

    what: What
    sitting: Sitting
    on: date
    people: tuple[Invite, ...] = ()
    at: datetime | None = None

    @property
    def is_late(self) -> bool:
        return self.on < today(self.sitting)


def today(sitting: Sitting) -> date:
    return timezone.now().astimezone(ZoneInfo(sitting.time_zone)).date()


def of_sitting(sitting: Sitting) -> list[Due]:
    return _sorted(_of([sitting]))


def of_studio(user: User) -> list[Due]:
    """Of all sittings that this photographer may see, the earliest first."""
    return _sorted(_of(list(access.sittings_of(user))))


def _sorted(rows: Iterator[Due]) -> list[Due]:
    return sorted(rows, key=lambda one: (one.on, one.at is not None, one.sitting.pk, one.what))


def _of(sittings: list[Sitting]) -> Iterator[Due]:
    """Questions to the database are few for any number of sittings, but for those in which retouches are shown."""
    working = [one for one in sittings if one.stage != Sitting.Stage.ARCHIVED]
    marking: dict[int, list[Invite]] = {}
    still = Invite.objects.still_marking().holding().filter(sitting__in=[one.pk for one in working])
    for person in still.order_by("pk"):
        marking.setdefault(person.sitting_id, []).append(person)
    for one in working:
        if one.held_on is not None and one.held_on >= today(one):
            yield Due(What.SITTING, one, one.held_on)
        if one.deadline is not None and one.stage in PICKING and (people := marking.get(one.pk)):
            yield Due(What.PICKS, one, one.deadline, tuple(people))
    yield from _answers(working)
    yield from _objections(working)
    for one in sittings:
        if one.keep_until is not None:
            yield Due(What.REMOVAL, one, one.keep_until)


def _answers(sittings: list[Sitting]) -> Iterator[Due]:
    shown = Final.objects.listed().filter(sitting__in=[one.pk for one in sittings], state=Final.State.SHOWN)
    waiting = set(shown.values_list("sitting_id", flat=True))
    for sitting in sittings:
        if sitting.pk not in waiting or sitting.stage not in access.AGREED:
            continue
        days: list[tuple[date, Invite]] = []
        for person in asked.approvers(sitting):
            day = asked.answer_by(asked.unanswered(person), sitting) if person.passed_from_id is None else None
            if day is not None:
                days.append((day, person))
        if days:
            yield Due(What.ANSWERS, sitting, min(day for day, _ in days), tuple(person for _, person in days))


def _objections(sittings: list[Sitting]) -> Iterator[Due]:
    by_pk = {one.pk: one for one in sittings if one.stage in access.AGREED}
    later = Round.objects.filter(sitting=OuterRef("sitting"), number__gt=OuterRef("number"))
    rows = Round.objects.filter(sitting__in=list(by_pk), objection_until__gt=timezone.now())
    subjects: dict[int, list[Invite]] = {}
    for person in Invite.objects.holding().filter(sitting__in=list(by_pk), role=Invite.Role.SUBJECT).order_by("pk"):
        subjects.setdefault(person.sitting_id, []).append(person)
    for round_ in rows.filter(~Exists(later)):
        sitting, until = by_pk[round_.sitting_id], round_.objection_until
        if until is not None:
            day = until.astimezone(ZoneInfo(sitting.time_zone)).date()
            yield Due(What.OBJECTION, sitting, day, tuple(subjects.get(sitting.pk, ())), until)
