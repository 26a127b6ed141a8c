"""What is said of one frame, and its crops, as the large view asks for it each time that a frame is opened."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, may
from galleries.models import Mark, Remark, Sitting
from galleries.models.compiled import Compiled
from galleries.web.crop_shapes import crop_shapes


def _notes(frame: int, voice: int) -> QuerySet[Any, Any]:
    """The others' that are for whoever sees the frame."""
    rows = Mark.objects.filter(frame=frame).noted_openly().exclude(invite=voice).order_by("pk")
    return rows.values_list("invite__name", "note", "note_for_studio")


_ask_remarks = Compiled(
    lambda frame: Remark.objects.filter(frame=frame).order_by("pk").values_list("who", "text", "created_at"),
    by_keys=True,
)
_ask_notes = Compiled(_notes, by_keys=True)


def of_frame(visitor: Visitor, sitting: Sitting, frame: int, reading: str, size: tuple[int, int]) -> dict[str, Any]:
    """The talk about a frame that the visitor was found to see, other people's notes on it, and the shapes of the
    delivery sizes on it. `reading` as JSON, '' without one; `size` is the frame's own."""
    if visitor.invite is None:
        noted = Mark.objects.filter(frame=frame).noted().order_by("pk")
        notes = list(noted.values_list("invite__name", "note", "note_for_studio"))
    else:
        notes = _ask_notes(frame, visitor.invite.voice.pk)
    return {
        "remarks": [{"who": who, "text": text, "at": at.isoformat()} for who, text, at in _ask_remarks(frame)],
        "notes": [{"who": _who(name, alone=alone), "text": note} for name, note, alone in notes],
        "crops": crop_shapes(reading, *size),
        "may_remark": may(visitor, Act.REMARK, sitting),
    }


def _who(name: str, *, alone: bool) -> str:
    return _("%s, for the studio alone") % name if alone else name
