"""What changes on an open sheet, for those who ask for it by the dozen: fifty people marking in one sitting ask some
twenty-five times a second, and what the others said is the same for all of them."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Container
from functools import partial
from typing import Any, NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from galleries.access import Visitor, frames_of_sheets, sheet_invite
from galleries.models import Invite, Mark, Proof, Sitting
from galleries.models.compiled import Compiled
from galleries.web.invitee import showing
from galleries.web.invitee.showing import Known, Marks
from galleries.web.invitee.shown import Others, OwnMark, other_sides

# What all said is asked for again after this many seconds, or by somebody who has it already: nobody hears of a mark
# later than by that and one round of asking, and of their own at once.
MOMENT = 1.0
MOST = 64  # sittings whose people are at it at the same time, in one process


class MarksOfAll(NamedTuple):
    """What everybody said by this change of a sitting, frame by frame, and whatever of it is the same for all who ask:
    thousands of marks after a while, of which nobody made more than a few hundred."""

    change: int
    at: float
    by_frame: Others
    marked: dict[int, set[int]]  # the frames that each person said something about
    told: dict[int, list[list[Any]]]  # the same marks as scripts are told them: [invite, kind]
    people: dict[int, Invite]
    sides: dict[str, dict[int, dict[str, str]]]  # what a role is told of the other sides, once somebody of it asked
    others: dict[int, Others]  # what all but one said, once that person asked

    def sides_for(self, role: str) -> dict[int, dict[str, str]]:
        """frame → what each other side says of it. Nobody's own mark is in it, for it is of their own side, and so is
        that of whoever passed their invite on to them."""
        if role not in self.sides:
            told = {frame: other_sides(role, row) for frame, row in self.by_frame.items()}
            self.sides[role] = {frame: row for frame, row in told.items() if row}
        return self.sides[role]

    def others_for(self, me: int) -> Others:
        if me not in self.others:
            theirs = dict(self.by_frame)
            for frame in self.marked.get(me, ()):
                others = [one for one in theirs.pop(frame) if one[0].pk != me]
                if others:
                    theirs[frame] = others
            self.others[me] = theirs
        return self.others[me]


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
    told: dict[int, list[list[Any]]] = defaultdict(list)
    marked: dict[int, set[int]] = defaultdict(set)
    for invite, frame, kind in _ask_marks(sitting.pk):
        if invite in people:
            theirs[frame].append((people[invite], kind))
            told[frame].append([invite, kind])
            marked[invite].add(frame)
    marks = MarksOfAll(sitting.change, time.monotonic(), dict(theirs), dict(marked), dict(told), people, {}, {})
    if len(_kept) >= MOST:
        _kept.clear()
    _kept[sitting.uid] = marks
    return marks


def news(visitor: Visitor, sitting: Sitting, since: str) -> dict[str, Any]:
    """As `showing.state`, for somebody whose page stands at `since`."""
    invite = visitor.invite
    if invite is None or invite.sitting_id != sitting.pk or invite.is_retoucher:
        return showing.state(visitor, sitting)
    everybody = by_all(sitting, int(since) if since.isdecimal() and len(since) < 16 else -1)
    shown = _ask_shown[invite.is_subject](sitting.pk)
    known = Known({pk: look for pk, look, _has in shown}, _mine_of(invite, sitting), {})
    others = _others_told(everybody, invite, known.look_of)
    frames = [pk for pk, _look, has in shown if has]
    return showing.state(visitor, sitting, known, others=others) | {"frames": frames, "change": everybody.change}


def _others_told(everybody: MarksOfAll, invite: Invite, shown: Container[int]) -> dict[str, Any]:
    """As `showing.others_told` tells it, put together from what is kept."""
    me, own = invite.voice.pk, everybody.marked.get(invite.voice.pk, ())
    theirs = {}
    for frame, row in everybody.told.items():
        if frame in shown and (others := [one for one in row if one[0] != me] if frame in own else row):
            theirs[frame] = others
    spoke = {one[0] for row in theirs.values() for one in row}
    return {
        "theirs": theirs,
        "sides": {frame: row for frame, row in everybody.sides_for(invite.role).items() if frame in shown},
        "people": {pk: [everybody.people[pk].role, everybody.people[pk].name] for pk in spoke},
    }


def marks_for(visitor: Visitor, sitting: Sitting) -> Marks | None:
    """As `showing.marks_of`, for a page that will ask for news: what all said of a moment ago. None where it is not by
    an invite that they see the sheet; the caller has asked whether they do."""
    invite = sheet_invite(visitor, sitting)
    return _marks_for(invite, sitting, -1) if invite is not None else None


def _marks_for(invite: Invite, sitting: Sitting, since: int) -> Marks:
    everybody = by_all(sitting, since)
    theirs, told = everybody.others_for(invite.voice.pk), partial(_others_told, everybody, invite)
    return Marks(_mine_of(invite, sitting), theirs, everybody.change, told)


def _mine_of(invite: Invite, sitting: Sitting) -> dict[int, OwnMark]:
    return {frame: OwnMark._make(row) for frame, *row in _ask_mine(invite.voice.pk, sitting.pk)}
