"""A raw file and a JPEG or HEIF of the same exposure are one frame with two files, whichever came first.

The same exposure: same camera, same number in the name, same moment by the camera's clock, to the fraction of a second
where both files tell one. Without a moment nothing is joined: a frame too many is seen, one too few is not.
The picture people see is the JPEG's; the raw file stands beside it and goes wherever the frame goes.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q

from galleries.models import Frame, JournalLine, RawFile, Sitting, Verb
from galleries.models.compiled import CompiledRows
from galleries.models.sittings import FrameSet
from galleries.steps import derived, jobs

FILE = ("sha256", "key", "name", "bytes", "file_format")  # what a file is to a frame or beside it
_SECOND = timedelta(seconds=1)


def in_sitting(sitting: int) -> FrameSet:
    return Frame.objects.filter(sitting=sitting)


def in_day(holding: int) -> FrameSet:
    """Of a day's cards: those in its holding sitting, and those that were put into its sitters' sittings."""
    return Frame.objects.filter(Q(sitting=holding) | Q(sitting__sitter__day__holding=holding))


def _alike(frames: FrameSet, camera: str, number: int, since: datetime, until: datetime) -> FrameSet:
    return frames.filter(
        camera=camera, number=number, captured_at__gte=since, captured_at__lt=until, raw=None
    ).order_by("pk")


# Asked of each file that comes in.
_IN_SITTING = CompiledRows(lambda pk, *what: _alike(in_sitting(pk), *what))
_IN_DAY = CompiledRows(lambda pk, *what: _alike(in_day(pk), *what))


def other_half(sitting: Sitting, row: dict[str, Any]) -> Frame | None:
    """The frame of the sitting, or of the day it holds, whose exposure `row` (a frame's values) is the other file of.
    The caller holds the sitting's row."""
    at: datetime | None = row["captured_at"]
    if at is None or row["number"] is None or not row["camera"]:
        return None
    second = at.replace(microsecond=0)
    ask = _IN_DAY if sitting.is_holding else _IN_SITTING
    is_raw = row["shown"] != Frame.Shown.FILE
    alike = ask(sitting.pk, row["camera"], row["number"], second, second + _SECOND)
    others = (frame for frame in alike if frame.is_raw != is_raw and _same_moment(frame.captured_at, at))
    return next(others, None)


def _same_moment(one: datetime | None, other: datetime) -> bool:
    """Equal, or equal to the second where one of them tells no fraction."""
    return one == other or (one is not None and 0 in (one.microsecond, other.microsecond))


def join(frame: Frame, row: dict[str, Any], who: str) -> None:
    """Put the file of `row`, which `who` brought, to the frame. In a transaction; the caller has asked."""
    if row["shown"] != Frame.Shown.FILE:
        RawFile.objects.create(frame=frame, **{name: row[name] for name in FILE})
    else:
        RawFile.objects.create(frame=frame, **{name: getattr(frame, name) for name in FILE})
        # Read anew from the picture that is shown from now on; what a person said of the frame stays.
        for name, value in {**row, "reading": None, "reading_version": 0}.items():
            setattr(frame, name, value)
        frame.save(update_fields=[*row, "reading", "reading_version"])
        if frame.sitting.is_holding:
            jobs.enqueue("slate", frame.pk, frame.sitting, again=True)
        else:
            jobs.enqueue("proof", frame.pk, frame.sitting, recipe=derived.stamp_recipe(), again=True)
    JournalLine.write(frame.sitting, who, Verb.RAW_JOINED, frame.name, sha256=row["sha256"], file=row["name"])
