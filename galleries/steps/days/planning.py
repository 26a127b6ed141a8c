"""A day is planned: one sitting for each sitter of a list, each with a slate, and one that holds the cards' frames."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, one_line, require, sittings_of
from galleries.errors import BadInput, Missing
from galleries.models import Day, JournalLine, Sitter, Sitting, Verb
from galleries.steps.days.sitters_list import MOST_SITTERS, Row
from galleries.steps.planning import sitting_plan

NAME_LENGTH = 80
# Settings that all sittings of a day begin with.
COMMON = ("place", "allowance", "deadline", "time_zone")


def day_of(sitting: Sitting) -> Day:
    """The day whose frames this sitting holds. Raises `Missing`: it holds none's."""
    day = Day.objects.select_related("holding__photographer").filter(holding=sitting).first()
    if day is None:
        raise Missing(_("There is no such day."))
    return day


def make_day(user: User, name: str, held_on: date | None, rows: Sequence[Row], **common: Any) -> Day:
    """Set up a day with a sitting for each row. `common`: settings of all of them (`COMMON`). One transaction.

    Raises:
        BadInput: no name, no sitters, or too many.
    """
    name = one_line(name)
    if not name or len(name) > NAME_LENGTH:
        raise BadInput(_("A day needs a name of at most %d characters.") % NAME_LENGTH)
    if not rows:
        raise BadInput(_("There is no sitter in this list: a line for each, the name first."))
    common = {key: value for key, value in common.items() if key in COMMON and value not in (None, "")}
    with transaction.atomic():
        holding = sitting_plan.create_sitting(
            user, title=name, subject_given=name[:60], held_on=held_on, **common
        )  # its short name, which commands are given, is the day's
        holding.title, holding.is_holding = _("%s, frames of the day") % name, True
        holding.save(update_fields=["title", "is_holding"])
        day = Day.objects.create(name=name, held_on=held_on, holding=holding)
        JournalLine.write(holding, Visitor(user=user).who, Verb.DAY_PLANNED, name)
        _add(day, user, rows, common)
    return day


def add_sitters(day: Day, by: Visitor, rows: Sequence[Row]) -> list[Sitter]:
    """More sitters for a day, with the settings that its frames' own sitting has.

    Raises:
        Refused: not this person's to do.
        BadInput: too many.
    """
    require(by, Act.RUN, day.holding, _("A day is its photographer's to plan."))
    common = {key: getattr(day.holding, key) for key in COMMON if getattr(day.holding, key) not in (None, "")}
    with transaction.atomic():
        Sitting.objects.select_for_update(of=("self",)).get(pk=day.holding_id)  # two lists at once come one by one
        added = _add(day, day.holding.photographer, rows, common)
        JournalLine.write(day.holding, by.who, Verb.SITTERS_ADDED, str(len(added)))
    return added


def _add(day: Day, user: User, rows: Sequence[Row], common: dict[str, Any]) -> list[Sitter]:
    first = day.sitters.count()
    if first + len(rows) > MOST_SITTERS:
        raise BadInput(
            _("A day has at most %(most)d sitters; this list names %(n)d.")
            % {"most": MOST_SITTERS, "n": first + len(rows)}
        )
    sitters = []
    for position, row in enumerate(rows, first + 1):
        sitting = sitting_plan.create_sitting(
            user,
            title=f"{row.name}, {day.name}"[:120],
            subject_given=row.given,
            subject_surname=row.surname,
            subject_is_minor=row.minor,
            held_on=day.held_on,
            **common,
        )
        sitters.append(
            Sitter.objects.create(
                day=day, sitting=sitting, position=position, email=row.email, language=row.language,
                agent_name=row.agent_name, agent_email=row.agent_email,
            )
        )  # fmt: skip
    return sitters


def sitters_for(by: Visitor, day: Day) -> list[Sitter]:
    """The sitters whose sittings this person runs: a colleague let into some of a day's sittings sees those."""
    require(by, Act.RUN, day.holding, _("A day is its photographer's to plan."))
    sitters = day.sitters.select_related("sitting__photographer").order_by("position", "pk")
    return list(sitters if by.user is None else sitters.filter(sitting__in=sittings_of(by.user).values("pk")))
