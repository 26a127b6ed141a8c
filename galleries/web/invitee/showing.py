"""The sheet as data: frames with a proof by look, the marks of everybody, and what the scripts are told of those."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Container
from typing import Any, NamedTuple

from django.utils import timezone

from galleries.access import Visitor, frames_shown_to
from galleries.models import Mark, Sitting
from galleries.steps.agreeing import extras
from galleries.steps.agreeing.extras import Quote
from galleries.steps.picking import pick
from galleries.web.invitee.layout import Layout, layout_of
from galleries.web.invitee.shown import Others, OwnMark, Strip, other_sides
from galleries.words import money


class Marks(NamedTuple):
    """A person's own marks and the others', by frame, and the sitting's change that they are of."""

    mine: dict[int, OwnMark]
    theirs: Others
    change: int
    others: Callable[[Container[int]], dict[str, Any]]  # as `others_told`, of the frames that they are shown


class Known(NamedTuple):
    """What is asked of the database once, for the sheet and for what its scripts are told."""

    look_of: dict[int, int | None]  # of every frame that this person may see
    mine: dict[int, OwnMark]
    theirs: Others

    def counted(self, sitting: Sitting) -> pick.Count:
        rows = [(mark.kind, self.look_of[pk]) for pk, mark in self.mine.items() if pk in self.look_of]
        return pick.counted(sitting.allowance, rows)


class Sheet(NamedTuple):
    """The sheet as one person may see it, and what it was made from."""

    strips: list[Strip]
    known: Known
    layout: Layout


def sheet_of(visitor: Visitor, sitting: Sitting, marks: Marks | None = None) -> Sheet:
    """`marks`: what is known of them already."""
    layout = layout_of(visitor, sitting)
    mine, theirs = (marks.mine, marks.theirs) if marks is not None else marks_of(visitor, sitting)
    return Sheet([Strip(film, mine, theirs) for film in layout.films], Known(layout.look_of, mine, theirs), layout)


def marks_of(visitor: Visitor, sitting: Sitting) -> tuple[dict[int, OwnMark], Others]:
    """A person's own marks, and what everybody else marked, by frame id."""
    me = visitor.invite.voice.pk if visitor.invite else None
    people = {one.pk: (place, one) for place, one in enumerate(sitting.invites.sides().order_by("role", "pk"))}
    mine: dict[int, OwnMark] = {}
    theirs: Others = defaultdict(list)
    rows = Mark.objects.filter(frame__sitting=sitting, invite__in=list(people)).order_by()
    listed = rows.values_list("invite_id", "frame_id", *OwnMark._fields)
    for invite, frame, *row in sorted(listed, key=lambda row: people[row[0]][0]):
        if invite == me:
            mine[frame] = OwnMark._make(row)
        elif row[0]:
            theirs[frame].append((people[invite][1], row[0]))
    return mine, theirs


def known_of(visitor: Visitor, sitting: Sitting) -> Known:
    visible = frames_shown_to(visitor, sitting).unhidden().order_by()
    return Known(dict(visible.values_list("pk", "look_id")), *marks_of(visitor, sitting))


def state(
    visitor: Visitor,
    sitting: Sitting,
    known: Known | None = None,
    quoted: Quote | None = None,
    *,
    others: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """All that can change while the sheet is open, for a script: small enough to send whole. Without what is `known`
    already it is asked for, and the frames are told too. `others`: what all others said, where it is put together
    already."""
    told = known or known_of(visitor, sitting)
    shown = told.look_of
    body: dict[str, Any] = {
        "change": sitting.change,
        "stage": sitting.stage,
        "now": timezone.now().isoformat(),
        "allowance": sitting.allowance,
        "extra": extra_for_scripts(visitor, sitting, quoted),
        "mine": {pk: list(mark) for pk, mark in told.mine.items() if pk in shown},
        **(others if others is not None else others_told(visitor, told.theirs, shown)),
    }
    if known is None:
        visible = frames_shown_to(visitor, sitting).unhidden()
        body["frames"] = list(visible.filter(proofs__isnull=False).distinct().values_list("pk", flat=True))
    return body


def others_told(visitor: Visitor, theirs: Others, shown: Container[int]) -> dict[str, Any]:
    """What the others said of the frames shown: each mark, what each other side says, and who they are."""
    people = {invite.pk: invite for pk, row in theirs.items() if pk in shown for invite, _kind in row}
    return {
        "theirs": {pk: [[invite.pk, kind] for invite, kind in row] for pk, row in theirs.items() if pk in shown},
        "sides": _sides(visitor, theirs, shown),
        "people": {pk: [invite.role, invite.name] for pk, invite in people.items()},
    }


def extra_for_scripts(visitor: Visitor, sitting: Sitting, quoted: Quote | None = None) -> dict[str, Any] | None:
    """What a final beyond the allowance costs, for those who choose; None for everybody else, or where none is said."""
    if visitor.invite is None or not visitor.invite.is_side:
        return None
    price = (quoted or extras.quote(sitting)).price
    return money.for_scripts(price) if price is not None else None


def _sides(visitor: Visitor, theirs: Others, shown: Container[int]) -> dict[int, dict[str, str]]:
    side = visitor.invite.role if visitor.invite else None
    drawn = {pk: other_sides(side, row) for pk, row in theirs.items() if pk in shown}
    return {pk: row for pk, row in drawn.items() if row}
