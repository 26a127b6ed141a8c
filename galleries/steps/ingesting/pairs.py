"""A raw file and a JPEG or HEIF of the same exposure are one frame with two files, whichever came first.

The same exposure: same camera, same number in the name, same moment by the camera's clock, to the fraction of a second
where both files tell one. Without a moment nothing is joined: a frame too many is seen, one too few is not.
The picture people see is the JPEG's; the raw file stands beside it and goes wherever the frame goes.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from galleries.models import Frame, JournalLine, RawFile, Verb
from galleries.models.sittings import FrameSet
from galleries.steps import derived, jobs

FILE = ("sha256", "key", "name", "bytes", "file_format")  # what a file is to a frame or beside it
_SECOND = timedelta(seconds=1)


def other_half(frames: FrameSet, row: dict[str, Any]) -> Frame | None:
    """The frame among these whose exposure `row` (a frame's values) is the other file of. The caller holds the
    sitting's row."""
    at: datetime | None = row["captured_at"]
    if at is None or row["number"] is None or not row["camera"]:
        return None
    second = at.replace(microsecond=0)
    alike = frames.filter(
        camera=row["camera"], number=row["number"], captured_at__gte=second, captured_at__lt=second + _SECOND, raw=None
    )
    is_raw = row["shown"] != Frame.Shown.FILE
    others = (frame for frame in alike.order_by("pk") if frame.is_raw != is_raw and _same_moment(frame.captured_at, at))
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
