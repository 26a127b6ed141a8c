"""The only place where a sitting, a final or a delivery changes its state.

Each change is compare-and-set: it happens from the state the caller saw, or not at all.
"""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.errors import Conflict
from galleries.models import Delivery, Final, JournalLine, OwnCopy, Sitting, Verb
from galleries.models.compiled import CompiledUpdate
from galleries.told import told
from galleries.words.steps import Code

Stage = Sitting.Stage
S, D, C = Final.State, Delivery.State, OwnCopy.State

SITTING: dict[str, frozenset[str]] = {
    Stage.PLANNING: frozenset({Stage.PROOFING, Stage.ARCHIVED}),
    Stage.PROOFING: frozenset({Stage.PLANNING, Stage.AGREEING, Stage.FINISHING, Stage.ARCHIVED}),
    Stage.AGREEING: frozenset({Stage.PROOFING, Stage.FINISHING, Stage.ARCHIVED}),
    Stage.FINISHING: frozenset({Stage.AGREEING, Stage.DELIVERED, Stage.ARCHIVED}),
    Stage.DELIVERED: frozenset({Stage.FINISHING, Stage.AGREEING, Stage.ARCHIVED}),
    Stage.ARCHIVED: frozenset({Stage.PLANNING, Stage.PROOFING, Stage.AGREEING, Stage.FINISHING, Stage.DELIVERED}),
}
FINAL: dict[str, frozenset[str]] = {
    S.AGREED: frozenset({S.SHOWN, S.AS_IT_IS}),
    S.SHOWN: frozenset({S.SHOWN, S.APPROVED, S.RETURNED, S.AS_IT_IS}),
    S.RETURNED: frozenset({S.SHOWN, S.AS_IT_IS}),
    S.APPROVED: frozenset({S.SHOWN, S.RETURNED, S.AS_IT_IS}),
    S.AS_IT_IS: frozenset({S.SHOWN, S.AGREED, S.APPROVED, S.RETURNED}),
}
DELIVERY: dict[str, frozenset[str]] = {
    D.WAITING: frozenset({D.MADE, D.READY, D.FAILED}),
    D.MADE: frozenset({D.READY, D.WITHDRAWN}),
    D.FAILED: frozenset({D.WAITING}),
    D.READY: frozenset({D.WITHDRAWN}),
    D.WITHDRAWN: frozenset({D.READY}),
}

OWN_COPY: dict[str, frozenset[str]] = {
    C.WAITING: frozenset({C.MADE, C.FAILED, C.WITHDRAWN}),
    C.MADE: frozenset({C.READY, C.WITHDRAWN, C.ENDED}),
    C.READY: frozenset({C.WITHDRAWN, C.ENDED}),
    C.FAILED: frozenset({C.MADE, C.WITHDRAWN}),
    C.WITHDRAWN: frozenset(),
    C.ENDED: frozenset(),
}


def advance(sitting: Sitting, to: str, by: Visitor, *, verb: Verb = Verb.STAGE, **detail: Any) -> None:
    """Move a sitting to another stage and write the journal, in one transaction.

    Raises:
        Conflict: the table above knows no such step, or somebody moved the sitting meanwhile.
    """
    before = sitting.stage
    if to not in SITTING[before]:
        raise Conflict(
            _("A sitting cannot go from “%(before)s” to “%(after)s”.")
            % {"before": Stage(before).label, "after": Stage(to).label}
        )
    if sitting.is_holding and to == Stage.PROOFING:
        raise Conflict(_("The frames of a day are shown in the sittings of its sitters, not here."))
    extra: dict[str, Any] = {}
    if to == Stage.PROOFING and sitting.published_at is None:
        extra["published_at"] = timezone.now()
    if to == Stage.DELIVERED:
        extra["delivered_at"] = timezone.now()
    extra["put_away_from"] = before if to == Stage.ARCHIVED else ""
    with transaction.atomic():
        moved = Sitting.objects.filter(pk=sitting.pk, stage=before).update(stage=to, change=F("change") + 1, **extra)
        if not moved:
            raise Conflict(told(Code.SITTING_CHANGED))
        JournalLine.write(sitting, by.who, verb, sitting.title, before, to, **detail)
    sitting.refresh_from_db()


def move_final(final: Final, to: str, by: Visitor, *, verb: Verb, **detail: Any) -> None:
    """As `advance`, for a final."""
    before = final.state
    if to not in FINAL[before]:
        raise Conflict(
            _("A final cannot go from “%(before)s” to “%(after)s”.") % {"before": S(before).label, "after": S(to).label}
        )
    with transaction.atomic():
        if not Final.objects.filter(pk=final.pk, state=before).update(state=to):
            raise Conflict(told(Code.FINAL_CHANGED))
        touch(final.sitting)
        JournalLine.write(final.sitting, by.who, verb, f"final {final.frame.label}", before, to, **detail)
    final.refresh_from_db()


def move_delivery(
    delivery: Delivery, to: str, by: Visitor, *, verb: Verb, fields: dict[str, Any] | None = None
) -> None:
    """As `advance`, for a delivery; `fields` are set in the same stroke."""
    before = delivery.state
    if to not in DELIVERY[before]:
        if to == before:  # pressed in two windows
            raise Conflict(_("This delivery is “%s” already.") % D(to).label)
        raise Conflict(
            _("A delivery cannot go from “%(before)s” to “%(after)s”.")
            % {"before": D(before).label, "after": D(to).label}
        )
    with transaction.atomic():
        if not Delivery.objects.filter(pk=delivery.pk, state=before).update(state=to, **(fields or {})):
            raise Conflict(told(Code.DELIVERY_CHANGED))
        touch(delivery.sitting)
        JournalLine.write(delivery.sitting, by.who, verb, f"delivery {delivery.number}", before, to)
    delivery.refresh_from_db()


def move_own_copy(copy: OwnCopy, to: str, by: Visitor, *, verb: Verb, fields: dict[str, Any] | None = None) -> None:
    """As `move_delivery`, for a copy of what is kept about the subject."""
    before = copy.state
    if to not in OWN_COPY[before]:
        if to == before:
            raise Conflict(_("This copy is “%s” already.") % C(to).label)
        raise Conflict(
            _("This copy cannot go from “%(before)s” to “%(after)s”.")
            % {"before": C(before).label, "after": C(to).label}
        )
    with transaction.atomic():
        if not OwnCopy.objects.filter(pk=copy.pk, state=before).update(state=to, **(fields or {})):
            raise Conflict(_("Somebody changed this copy at the same moment. Load the page again."))
        JournalLine.write(copy.sitting, by.who, verb, copy.invite.name, before, to)
    copy.refresh_from_db()


def touch(sitting: Sitting) -> None:
    """Count a change, so that live pages look again."""
    _count(sitting.pk)


_count = CompiledUpdate(lambda pk: Sitting.objects.filter(pk=pk), by_keys=True, change=F("change") + 1)
