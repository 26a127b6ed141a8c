"""Marks: each person's own, stored at once, dated, and safe to send twice.

A device may have been offline. Every act carries its own id and the device's time of it: the person's latest
intent wins, an act sent again changes nothing, and a note that changed meanwhile is shown, never overwritten. Which
intent is the latest is told by the count of the mark's changes that the device had seen; clocks are asked only about
devices that had not seen each other's acts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, frame_for, frames_of_sheets, frames_shown_to, may, require
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import Frame, Invite, JournalLine, Mark, Remark, Sitting, Standing, Verb
from galleries.steps.people import letters
from galleries.steps.picking import intents, mark_rows
from galleries.steps.picking.intents import NOTE_LENGTH, Intent
from galleries.steps.picking.mark_rows import Asked
from galleries.told import told
from galleries.words.steps import Code

MOST_RANKED = 5000
ATTEMPTS = 5  # a sitting whose stage moves on while a mark is stored is asked about again


@dataclass(frozen=True)
class Answer:
    """What the server holds after an act; `conflict` when a note stood there that the device had not seen."""

    frame: int
    kind: str
    note: str
    revision: int
    for_studio: bool = False
    conflict: bool = False

    def as_dict(self) -> dict[str, Any]:
        return {**self.__dict__}


def set_mark(
    by: Visitor,
    frame_id: int,
    *,
    kind: str | None = None,
    note: str | None = None,
    act: str = "",
    acted_at: datetime | None = None,
    seen: int | None = None,
    for_studio: bool | None = None,
) -> Answer:
    """Set a person's mark and/or note on a frame (None leaves it as it is, '' takes it away).

    `for_studio` says of a note whether the studio alone reads it (None leaves that as it is); `act` is the device's id
    of this act, `acted_at` its time, `seen` the revision of the mark that it showed.

    Raises:
        Missing, Refused: not theirs to mark, or not now (the list is closed).
        BadInput: no such kind of mark, or a note that is too long.
    """
    (answer,) = _set_all(by, [Intent(frame_id, kind, note, act, acted_at, seen, for_studio)])
    if isinstance(answer, DomainError):
        raise answer
    return answer


def _set_all(by: Visitor, acts: Sequence[Intent]) -> list[Answer | DomainError]:
    """The acts in order, each with its answer or why it cannot be: one transaction, whatever their number.

    It holds the person's own row, so marks of different people wait for nobody. Last it counts the change of the
    sitting, which is as it was asked about or the transaction is undone and asks again: the list may be closed
    meanwhile, and no mark is stored after that.
    """
    ids = {one.frame for one in acts if 0 < one.frame < 2**63}
    for _attempt in range(ATTEMPTS):
        with transaction.atomic():
            was_through = by.invite is not None and mark_rows.hold_voice(by.invite.voice)
            asked = mark_rows.frames_asked(ids, is_subject=by.invite is not None and by.invite.is_subject)
            why_not: dict[tuple[int, bool], DomainError] = {}
            for kind, frame in _doubtful(by, asked).items():
                try:
                    require(by, Act.MARK, frame)
                except DomainError as error:
                    why_not[kind] = error
            answers, lines = _put(by, asked, why_not, acts)
            if not lines or _after(by, lines, was_through=was_through):
                return answers
            transaction.set_rollback(True)
    raise Conflict(told(Code.SITTING_CHANGED))


def _doubtful(by: Visitor, asked: dict[int, Asked]) -> dict[tuple[int, bool], Frame]:
    """Of the frames of each sitting that are on the person's sheet, and of those that are not, one, unless it is clear
    that they may be marked: the sheet was asked about with the frame, and the table lets them mark in that sitting."""
    return {
        one.kind: one.frame
        for one in asked.values()
        if not (one.on_sheet and may(by, Act.MARK, one.frame.sitting))
    }  # fmt: skip


def _put(
    by: Visitor, asked: dict[int, Asked], why_not: dict[tuple[int, bool], DomainError], acts: Sequence[Intent]
) -> tuple[list[Answer | DomainError], list[JournalLine]]:
    """Each act's answer, and the lines of what was changed. Rows are written together at the end."""
    now = timezone.now()
    theirs = {pk: one.frame for pk, one in asked.items() if one.kind not in why_not}
    marks = mark_rows.marks_of(by.invite.voice, theirs) if by.invite is not None and theirs else {}
    answers: list[Answer | DomainError] = []
    touched: dict[int, Mark] = {}
    lines: list[JournalLine] = []
    for one in acts:
        frame = theirs.get(one.frame)
        if frame is None:
            known = asked.get(one.frame)
            missing = Missing(_("There is no such frame, or your link does not lead to it."))
            answers.append(why_not[known.kind] if known is not None else missing)
            continue
        if by.invite is None:
            answers.append(Refused(_("Marks are given by the people who were invited.")))
            continue
        try:
            intents.check(one, by.invite)
        except BadInput as error:
            answers.append(error)
            continue
        mark = marks.setdefault(frame.pk, Mark(invite=by.invite.voice, frame=frame, revision=0))
        changed = intents.put(mark, one, frame, now)
        if changed:
            mark.by, mark.act, mark.updated_at = by.invite, one.act, now
            mark.revision += 1
            touched[frame.pk] = mark
            lines.append(_line(by, frame.sitting, frame, mark))
        answers.append(_answer(mark, conflict=changed is None))
    if touched:
        mark_rows.write(list(touched.values()))
    return answers, lines


def _line(by: Visitor, sitting: Sitting, frame: Frame, mark: Mark) -> JournalLine:
    return JournalLine.line(
        sitting, by.who, Verb.MARKED, f"frame {frame.label}", after=mark.kind or "no mark", frame=frame.pk
    )


def _after(by: Visitor, lines: Sequence[JournalLine], *, was_through: bool) -> bool:
    """What a stored mark brings with it; False when the sitting is not as it was asked about any more."""
    if was_through and by.invite is not None:  # the list is its owner's, and so is being through
        Invite.objects.filter(pk=by.invite.voice.pk).update(picks_done_at=None)
    mark_rows.write_down(lines)
    (sitting,) = {line.sitting for line in lines}
    return sitting is not None and mark_rows.count_change(sitting)


def _answer(mark: Mark, *, conflict: bool = False) -> Answer:
    return Answer(mark.frame_id, mark.kind, mark.note, mark.revision, mark.note_for_studio, conflict)


def take_acts(by: Visitor, acts: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The outbox of a device, in order. One act that cannot be done does not hold up the rest.

    Each act is {frame, kind?, note?, act, at, seen?}; each answer is the mark as it stands, or {act, error}.
    """
    acts_ids = [intents.text(item.get("act", ""))[:40] for item in acts]
    read = [intents.read(item, act) for item, act in zip(acts, acts_ids, strict=True)]
    answered = iter(_set_all(by, [one for one in read if isinstance(one, Intent)]))
    answers: list[dict[str, Any]] = []
    for act, one in zip(acts_ids, read, strict=True):
        answer = next(answered) if isinstance(one, Intent) else one
        if isinstance(answer, DomainError):
            answers.append({"act": act, "error": str(answer), "kind_of_error": type(answer).__name__})
        else:
            answers.append({"act": act, **answer.as_dict()})
    return answers


def marks_by(invite: Invite) -> dict[int, Mark]:
    """A person's marks by frame id."""
    return {mark.frame_id: mark for mark in invite.voice.marks.all()}


def set_order(by: Visitor, sitting: Sitting, order: Sequence[int]) -> None:
    """Store a person's own ranking, best first; frames not named lose their place.

    Raises:
        BadInput: a frame named twice, or one they cannot see.
        Refused: not theirs to rank.
    """
    require(by, Act.MARK, sitting)
    if by.invite is None:
        raise Refused(_("A ranking is a person's own."))
    if len(order) > MOST_RANKED:
        raise BadInput(_("A ranking holds at most %d frames.") % MOST_RANKED)
    if len(set(order)) != len(order):
        raise BadInput(_("A frame stands twice in the ranking."))
    voice = by.invite.voice
    known = set(frames_shown_to(by, sitting).filter(pk__in=order).values_list("pk", flat=True))
    # A frame that they ranked and that is kept from them since keeps its place, and nothing is said of it.
    known.update(voice.standings.filter(frame__in=order).values_list("frame_id", flat=True))
    if len(known) != len(order):
        raise BadInput(_("The ranking names a frame that is not on your sheet."))
    with transaction.atomic():
        # As with a mark: somebody may be closing the list at this moment.
        require(by, Act.MARK, Sitting.objects.select_for_update(no_key=True).get(pk=sitting.pk))
        Standing.objects.filter(invite=voice).delete()
        Standing.objects.bulk_create(
            Standing(invite=voice, frame_id=pk, place=place) for place, pk in enumerate(order, 1)
        )
        JournalLine.write(sitting, by.who, Verb.RANKED, f"{len(order)} frames", order=list(order))


def remark(by: Visitor, frame_id: int, text: str) -> Remark:
    """Say something about a frame in its thread, for everyone of the sitting to read.

    Raises:
        BadInput: nothing was said.
    """
    frame = frame_for(by, Act.REMARK, frame_id)
    if not text.strip():
        raise BadInput(_("Write something first."))
    with transaction.atomic():
        entry = Remark.objects.create(frame=frame, invite=by.invite, who=by.name, text=text.strip()[:NOTE_LENGTH])
        stages.touch(frame.sitting)
        JournalLine.write(frame.sitting, by.who, Verb.REMARKED, f"frame {frame.label}")
    return entry


@dataclass(frozen=True)
class Count:
    """How far a person is: picks against the allowance, in all and per look."""

    allowance: int
    picks: int
    alternates: int
    strikes: int
    per_look: dict[int, int]

    @property
    def over(self) -> int:
        return max(0, self.picks - self.allowance)

    @property
    def left(self) -> int:
        return max(0, self.allowance - self.picks)


def count(by: Visitor, sitting: Sitting) -> Count:
    """A person's marks on frames they can see."""
    require(by, Act.SEE_SHEET, sitting)
    invite = by.invite
    if invite is None:
        return Count(sitting.allowance, 0, 0, 0, {})
    return counts([invite])[invite.pk]


def counts(invites: Sequence[Invite]) -> dict[int, Count]:
    """invite → how far each is, in the same number of queries for any number of them.

    Raises:
        Missing, Refused: as `count`, for any of them.
    """
    for invite in invites:
        require(Visitor(invite=invite), Act.SEE_SHEET, invite.sitting)
    by_invite: dict[int, Count] = {}
    for is_subject in (True, False):
        of_side = [invite for invite in invites if invite.is_subject is is_subject]
        rows: dict[int, list[tuple[str, int | None]]] = {}
        marks = Mark.objects.filter(invite__in={invite.voice.pk for invite in of_side})
        shown = marks.filter(frame__in=frames_of_sheets(is_subject).filter(sitting__in={i.sitting_id for i in of_side}))
        for voice, kind, look in shown.values_list("invite", "kind", "frame__look") if of_side else ():
            rows.setdefault(voice, []).append((kind, look))
        by_invite.update({one.pk: counted(one.sitting.allowance, rows.get(one.voice.pk, [])) for one in of_side})
    return by_invite


def counted(allowance: int, rows: Sequence[tuple[str, int | None]]) -> Count:
    """Of (kind of mark, look of its frame)."""
    kinds = Counter(kind for kind, _look in rows)
    per_look = Counter(look for kind, look in rows if kind == Mark.Kind.PICK and look is not None)
    return Count(allowance, kinds[Mark.Kind.PICK], kinds[Mark.Kind.ALTERNATE], kinds[Mark.Kind.STRIKE], dict(per_look))


def say_done(by: Visitor, sitting: Sitting) -> None:
    """'I am through with my marks.' The subject's word moves the sitting on to agreeing, and is told by letter to the
    representation and the photographer.

    Raises:
        Refused: the list is closed, or the person has no marks to give.
    """
    require(by, Act.MARK, sitting, _("The list is closed, so there is nothing to finish here."))
    invite = by.invite
    if invite is None:
        raise Refused(_("The list is closed, so there is nothing to finish here."))
    with transaction.atomic():
        Invite.objects.filter(pk=invite.voice.pk).update(picks_done_at=timezone.now())
        JournalLine.write(sitting, by.who, Verb.THROUGH_WITH_MARKS, sitting.title)
        if invite.is_subject and sitting.stage == Sitting.Stage.PROOFING:
            stages.advance(sitting, Sitting.Stage.AGREEING, by)
        else:
            stages.touch(sitting)
        if invite.is_subject:
            agents = sitting.invites.filter(role=Invite.Role.REPRESENTATION).select_related("passed_from")
            letters.notify(sitting, "through", agents, about=f"subject-{invite.pk}")
            letters.notify_photographer(sitting, "through", about=f"subject-{invite.pk}")
