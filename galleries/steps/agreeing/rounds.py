"""What closing, reopening and objecting have in common: the next round, and who is told."""

from __future__ import annotations

from django.db.models import Max, QuerySet

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.models import Invite, Round, Sitting, Verb
from galleries.steps.people import letters


def open_again(sitting: Sitting, by: Visitor, reason: str, verb: Verb, *, objected_by: str = "") -> Round:
    """The closed list is open again, in a new round; part of a verb's transaction.

    Raises:
        Missing, Refused: not theirs to open, or not now.
        Conflict: somebody else opened it, or moved the sitting.
    """
    require(by, Act.OBJECT if verb == Verb.OBJECTED else Act.REOPEN_LIST, sitting)
    # The stage first: of two presses the second is told so, before it opens a round too many.
    stages.advance(sitting, Sitting.Stage.AGREEING, by, verb=verb, reason=reason)
    last = sitting.rounds.aggregate(last=Max("number"))["last"] or 0
    opened = Round.objects.create(sitting=sitting, number=last + 1, reason=reason, objected_by=objected_by)
    letters.notify(sitting, "paused", retouchers(sitting), about=f"round-{opened.number}")
    return opened


def of_the_sheet(sitting: Sitting) -> QuerySet[Invite]:
    """Whoever is let in to look at frames: neither those who only fetch what is delivered, nor retouchers."""
    return sitting.invites.of_the_sheet().select_related("passed_from")


def retouchers(sitting: Sitting) -> QuerySet[Invite]:
    return sitting.invites.retouchers().select_related("passed_from")
