"""What changes on an open sheet, for those who ask for it by the dozen: fifty people marking in one sitting ask some
twenty-five times a second, and what the others said is the same for all of them."""

from __future__ import annotations

import time
from collections import defaultdict
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from galleries.access import Visitor, frames_of_sheets, sheet_invite
from galleries.models import Invite, Mark, Proof, Sitting
from galleries.models.compiled import Compiled
from galleries.web.invitee import showing
from galleries.web.invitee.showing import Known, Marks, Others, OwnMark

# What all said is asked for again after this many seconds, or by somebody who has it already: nobody hears of a mark
# later than by that and one round of asking, and of their own at once.
MOMENT = 1.0
MOST = 64  # sittings whose people are at it at the same time, in one process


class MarksOfAll(NamedTuple):
    """What everybody said by this change of a sitting, frame by frame."""

    change: int
    at: float
    by_frame: Others


_kept: dict[UUID, MarksOfAll] = {}


def _shown(is_subject: bool, sitting: int) -> QuerySet[Any, Any]:
    has_proof = Exists(Proof.objects.filter(frame=OuterRef("pk")))
    frames = frames_of_sheets(is_subject).filter(sitting=sitting).annotate(has_proof=has_proof).order_by("pk")
    return frames.values_list("pk", "look_id", "has_proof")


def _mine(voice: int, sitting: int) -> QuerySet[Any, Any]:
    return Mark.objects.filter(invite=voice, frame__sitting=sitting).order_by().values_list("frame", *OwnMark._fields)


def _marks(sitting: int) -> QuerySet[Any, Any]:
    rows = Mark.objects.filter(frame__sitting=sitting).exclude(kind="").order_by("invite__role", "invite_id")
    return rows.values_list("invite_id", "frame_id", "kind")


_ask_shown = {
    True: Compiled(lambda sitting: _shown(True, sitting)),
    False: Compiled(lambda sitting: _shown(False, sitting)),
}
_ask_mine, _ask_marks = Compiled(_mine), Compiled(_marks)
_ask_people = Compiled(
    lambda sitting: Invite.objects.sides().filter(sitting=sitting).order_by().values_list("pk", "role", "name")
)


def by_all(sitting: Sitting, since: int) -> MarksOfAll:
    """What everybody said, newer than `since`; of a moment ago where that will do."""
    marks = _kept.get(sitting.uid)
    if marks is not None and since < marks.change <= sitting.change and time.monotonic() < marks.at + MOMENT:
        return marks
    people = {pk: Invite(pk=pk, role=role, name=name) for pk, role, name in _ask_people(sitting.pk)}
    theirs: Others = defaultdict(list)
    for invite, frame, kind in _ask_marks(sitting.pk):
        if invite in people:
            theirs[frame].append((people[invite], kind))
    marks = MarksOfAll(sitting.change, time.monotonic(), dict(theirs))
    if len(_kept) >= MOST:
        _kept.clear()
    _kept[sitting.uid] = marks
    return marks


def news(visitor: Visitor, sitting: Sitting, since: str) -> dict[str, Any]:
    """As `showing.state`, for somebody whose page stands at `since`."""
    invite = visitor.invite
    if invite is None or invite.sitting_id != sitting.pk or invite.is_retoucher:
        return showing.state(visitor, sitting)
    known, frames, change = known_of(invite, sitting, int(since) if since.isdecimal() and len(since) < 16 else -1)
    return showing.state(visitor, sitting, known) | {"frames": frames, "change": change}


def known_of(invite: Invite, sitting: Sitting, since: int) -> tuple[Known, list[int], int]:
    """(what is known of the sitting for this person, the frames that have a proof, the change that this is of); the
    caller has asked whether they see the sheet."""
    marks = _marks_for(invite, sitting, since)
    shown = _ask_shown[invite.is_subject](sitting.pk)
    known = Known({pk: look for pk, look, _has in shown}, marks.mine, marks.theirs)
    return known, [pk for pk, _look, has in shown if has], marks.change


def marks_for(visitor: Visitor, sitting: Sitting) -> Marks | None:
    """As `showing.marks_of`, for a page that will ask for news: what all said of a moment ago. None where it is not by
    an invite that they see the sheet; the caller has asked whether they do."""
    invite = sheet_invite(visitor, sitting)
    return _marks_for(invite, sitting, -1) if invite is not None else None


def _marks_for(invite: Invite, sitting: Sitting, since: int) -> Marks:
    everybody, me = by_all(sitting, since), invite.voice.pk
    mine = {frame: OwnMark._make(row) for frame, *row in _ask_mine(me, sitting.pk)}
    theirs = {
        frame: [one for one in row if one[0].pk != me] if any(one[0].pk == me for one in row) else row
        for frame, row in everybody.by_frame.items()
    }
    return Marks(mine, {pk: row for pk, row in theirs.items() if row}, everybody.change)
