"""An agent's desk: each sitting with its picks as pictures, once the list is closed with what is on it, and the one
thing to do there; the most pressing first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import AGREED, Act, Visitor, frames_of_sheets, may
from galleries.models import Delivery, Final, Frame, Invite, Mark, Proof, Sitting
from galleries.steps.picking import pick

MOST_PICTURES = 5  # of a sitting; how many more there are stands beside them


@dataclass(frozen=True)
class Doing:
    """The one act of a sitting: which page it leads to, and what it is called."""

    page: str
    label: str


def rows(invites: Sequence[Invite]) -> list[dict[str, Any]]:
    """Of each invite's sitting, by days left: what is overdue first, what has no day last. The queries are the same for
    any number of sittings."""
    picking = {one.pk for one in invites if may(Visitor(invite=one), Act.MARK, one.sitting)}
    counts = pick.counts([one for one in invites if one.pk in picking])
    picks, finals, ready = _picks(invites), _finals(invites), _ready(invites)
    proofs = Proof.objects.newest_of(frame.pk for one in (*picks.values(), *finals.values()) for frame in one)
    today = timezone.localdate()
    shown = []
    for one in invites:
        days = _days(one.sitting, today) if one.pk in picking else None
        is_closed = one.sitting.stage in AGREED
        frames = finals.get(one.sitting_id, []) if is_closed else picks.get(one.voice.pk, [])
        shown.append({
            "invite": one, "sitting": one.sitting, "count": counts.get(one.pk), "days": days,
            "overdue": days is not None and days < 0, "days_over": -(days or 0),
            "is_closed": is_closed,
            "picks": [(frame, proofs.get(frame.pk)) for frame in frames[:MOST_PICTURES]],
            "more": max(0, len(frames) - MOST_PICTURES),
            "act": _act(one, one.pk in picking, one.sitting_id in ready),
            "wanted": one.pk in picking and one.voice.picks_done_at is None,
        })  # fmt: skip
    return sorted(shown, key=_pressing)


def _pressing(row: dict[str, Any]) -> tuple[bool, int, bool, str]:
    days = row["days"]
    return days is None, days or 0, not row["wanted"], row["sitting"].title


def _days(sitting: Sitting, today: date) -> int | None:
    return (sitting.deadline - today).days if sitting.deadline is not None else None


def _picks(invites: Sequence[Invite]) -> dict[int, list[Frame]]:
    """voice → its picks as its holder may see them now, by frame number."""
    frames = frames_of_sheets(is_subject=False).filter(sitting__in={one.sitting_id for one in invites})
    marks = Mark.objects.filter(kind=Mark.Kind.PICK, invite__in={one.voice.pk for one in invites}, frame__in=frames)
    by_voice: dict[int, list[Frame]] = {}
    for one in marks.select_related("frame").order_by("frame__number", "frame"):
        by_voice.setdefault(one.invite_id, []).append(one.frame)
    return by_voice


def _finals(invites: Sequence[Invite]) -> dict[int, list[Frame]]:
    """sitting → the frames on its list that an agent may know of, in the list's order."""
    shown = Frame.objects.filter(sitting__in={one.sitting_id for one in invites}).let_go()
    by_sitting: dict[int, list[Frame]] = {}
    for final in Final.objects.listed().filter(frame__in=shown).select_related("frame").order_by("position", "pk"):
        by_sitting.setdefault(final.sitting_id, []).append(final.frame)
    return by_sitting


def _ready(invites: Sequence[Invite]) -> set[int]:
    """The sittings among them with files to fetch."""
    handed_over = Delivery.objects.handed_over().filter(sitting__in={one.sitting_id for one in invites})
    return set(handed_over.values_list("sitting", flat=True))


def _act(invite: Invite, picking: bool, ready: bool) -> Doing:
    stage = invite.sitting.stage
    if picking and invite.voice.picks_done_at is None:
        return Doing("sheet", _("Pick"))
    if picking:
        return Doing("lists", _("Compare both lists"))
    if stage in AGREED:
        return Doing("delivery", _("Fetch the files")) if ready else Doing("finals", _("Look at the finals"))
    return Doing("plan", _("See the plan"))
