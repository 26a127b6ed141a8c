"""The rows that a mark needs, asked for and written by statements whose SQL is written once (`models.compiled`): a mark
is the most frequent thing that people do, and composing its questions cost more than answering them."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, F, OuterRef, QuerySet

from galleries.access import frames_of_sheets
from galleries.models import Frame, Invite, JournalLine, Mark, Sitting
from galleries.models.compiled import Compiled, CompiledInsert, CompiledSave, CompiledUpdate, partial

OF_SITTING = (
    *("pk", "slug", "stage", "subject_is_minor", "guardian_name", "guardian_consent_on"),
    *("is_holding", "photographer_id"),
)
# What `access.may` asks of a sitting about a mark: a mark is stored only while all of it is as it was then.
ASKED = ("stage", "subject_is_minor", "guardian_name", "guardian_consent_on")
OF_FRAME = ("pk", "sitting_id", "name", "number", "added_at")
OF_MARK = ("pk", "frame_id", "kind", "note", "note_for_studio", "act", "acted_at", "revision")
CHANGED = ("kind", "note", "note_for_studio", "by", "act", "acted_at", "revision", "updated_at")
FEW = 4  # frames that one question written beforehand asks for; a whole outbox has its question composed


@dataclass(frozen=True)
class Asked:
    """A frame with as much of its row, and of its sitting's, as a mark needs; is it on the sheet of whoever asked?"""

    frame: Frame
    on_sheet: bool

    @property
    def kind(self) -> tuple[int, bool]:
        """What a right to mark hangs on: the sitting, and whether the frame is on the sheet."""
        return self.frame.sitting_id, self.on_sheet


def _frames(is_subject: bool, *ids: int) -> QuerySet[Any, Any]:
    shown = Exists(frames_of_sheets(is_subject).filter(pk=OuterRef("pk")))
    rows = Frame.objects.filter(pk__in=ids).annotate(on_sheet=shown).order_by("pk")
    return rows.values_list(*OF_FRAME, *(f"sitting__{name}" for name in OF_SITTING), "on_sheet")


def _of_subject(*ids: int) -> QuerySet[Any, Any]:
    return _frames(True, *ids)


def _of_others(*ids: int) -> QuerySet[Any, Any]:
    return _frames(False, *ids)


def _voice(pk: int) -> QuerySet[Any, Any]:
    return Invite.objects.select_for_update(no_key=True).filter(pk=pk).order_by().values_list("picks_done_at")


def _marks(voice: int, *frames: int) -> QuerySet[Any, Any]:
    return Mark.objects.filter(invite=voice, frame__in=frames).order_by("pk").values_list(*OF_MARK)


_ask_voice, _ask_marks = Compiled(_voice, by_keys=True), Compiled(_marks, by_keys=True)
_ask_frames = {True: Compiled(_of_subject, by_keys=True), False: Compiled(_of_others, by_keys=True)}
_frame, _sitting, _mark = partial(Frame, *OF_FRAME), partial(Sitting, *OF_SITTING), partial(Mark, *OF_MARK)
_add_mark, _save_mark = CompiledInsert(Mark), CompiledSave(Mark, *CHANGED)
_count = CompiledUpdate(
    lambda pk, stage: Sitting.objects.filter(pk=pk, stage=stage, subject_is_minor=False),
    by_keys=True,
    change=F("change") + 1,
)


def hold_voice(voice: Invite) -> bool:
    """Take the person's row until the transaction ends, so that what their devices send comes one after the other:
    acts of different people wait for no lock of each other's. Had they said that they are through?"""
    return any(done is not None for (done,) in _ask_voice(voice.pk))


def frames_asked(ids: Collection[int], *, is_subject: bool) -> dict[int, Asked]:
    """frame id → what there is of it, with its sitting; of those that there are, in any sitting."""
    if not ids:
        return {}
    ids = sorted(ids)
    rows = _ask_frames[is_subject](*ids) if len(ids) <= FEW else list(_frames(is_subject, *ids))
    asked, sittings = dict[int, Asked](), dict[int, Sitting]()
    for row in rows:
        frame = _frame(row)
        if frame.sitting_id not in sittings:
            sittings[frame.sitting_id] = _sitting(row[len(OF_FRAME) :])
        frame.sitting = sittings[frame.sitting_id]
        asked[frame.pk] = Asked(frame, bool(row[-1]))
    return asked


def marks_of(voice: Invite, frames: Collection[int]) -> dict[int, Mark]:
    """frame id → the person's mark on it, as much as an act needs; those that there are."""
    ids = sorted(frames)
    rows = _ask_marks(voice.pk, *ids) if len(ids) <= FEW else list(_marks(voice.pk, *ids))
    marks = {mark.frame_id: mark for mark in map(_mark, rows)}
    for mark in marks.values():
        mark.invite_id = voice.pk
    return marks


def write(marks: Sequence[Mark]) -> None:
    """New ones and changed ones. Whose voice it is has been held since they were read."""
    new = [mark for mark in marks if mark.pk is None]
    if len(new) == 1:
        _add_mark(new[0])
    else:
        Mark.objects.bulk_create(new)
    again = [mark for mark in marks if mark.pk is not None]
    if len(again) == 1:
        _save_mark(again[0])
    elif again:
        Mark.objects.bulk_update(again, CHANGED)


def write_down(lines: Sequence[JournalLine]) -> None:
    """The lines of the journal."""
    if len(lines) == 1:
        lines[0].save()
        return
    for line in JournalLine.objects.bulk_create(lines):
        line.send_on()


def count_change(sitting: Sitting) -> bool:
    """Count the change of the sitting, if it is as it was when it was asked about; False otherwise.

    It is the last statement of a mark's transaction, so its lock is held only while that is written down. Whoever
    closes the list holds the row: the mark waits here, then finds another stage, and nothing of it is kept.
    """
    if sitting.subject_is_minor:
        same = Sitting.objects.filter(pk=sitting.pk, **{name: getattr(sitting, name) for name in ASKED})
        return bool(same.update(change=F("change") + 1))
    return bool(_count(sitting.pk, sitting.stage))
