"""What a person did to a mark, and what becomes of the mark by it: no row is written here, and nothing is asked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from galleries.errors import BadInput
from galleries.models import Frame, Invite, Mark

NOTE_LENGTH = 1000


@dataclass(frozen=True)
class Intent:
    """One act: what `set_mark` is told."""

    frame: int
    kind: str | None
    note: str | None
    act: str
    acted_at: datetime | None
    seen: int | None
    for_studio: bool | None = None


def read(item: dict[str, Any], act: str) -> Intent | BadInput:
    """From {frame, kind?, note?, at, seen?, for_studio?} as a device sent it, or why that is none."""
    try:
        return Intent(
            frame=_whole(item.get("frame")),
            kind=None if item.get("kind") is None else text(item["kind"]),
            note=None if item.get("note") is None else text(item["note"]),
            act=act,
            acted_at=_moment(item.get("at")),
            seen=None if item.get("seen") is None else _whole(item["seen"]),
            for_studio=None if item.get("for_studio") is None else bool(item["for_studio"]),
        )
    except BadInput as error:
        return error


def text(value: object) -> str:
    """What a database can keep: JSON may carry half of an emoji (a note cut off in the middle of it) or a zero byte,
    and one such act must not hold up the rest."""
    return str(value).replace("\0", "").encode("utf-8", "replace").decode()


def _whole(value: object) -> int:
    try:
        return int(str(value))
    except ValueError:
        raise BadInput(_("“%s” is no number of a frame.") % value) from None


def _moment(value: object) -> datetime | None:
    if value is None:
        return None
    try:
        at = parse_datetime(str(value))
    except ValueError:
        at = None
    if at is None or at.tzinfo is None or not 1 < at.year < 9999:
        raise BadInput(_("“%s” is no moment with a time zone.") % value)
    return at


def check(one: Intent, by: Invite) -> None:
    """Raises `BadInput`: no such mark, a note that is too long, or one that is not theirs to keep to the studio."""
    if one.for_studio and not by.is_subject:
        raise BadInput(_("Notes for the studio alone are the subject's to write."))
    if one.kind is not None and one.kind not in Mark.Kind.values:
        raise BadInput(_("There is no mark “%s”; use pick, alternate, strike or nothing.") % one.kind)
    if one.note is not None and len(one.note) > NOTE_LENGTH:
        raise BadInput(_("The note has %(n)d characters; %(most)d fit.") % {"n": len(one.note), "most": NOTE_LENGTH})


def put(mark: Mark, one: Intent, frame: Frame, now: datetime) -> bool | None:
    """Put an act into the row, which is new while its revision is 0: as `_merge`."""
    if not mark.revision:
        mark.kind, mark.note = one.kind or "", one.note or ""
        mark.note_for_studio = bool(one.for_studio and one.note)
        mark.acted_at = _counts_from(one.acted_at, now, now) if one.kind is not None else frame.added_at
        return True
    if one.act and one.act == mark.act:
        return False
    at = _counts_from(one.acted_at, now, mark.acted_at)
    if one.seen is not None and one.seen >= mark.revision:  # made in sight of all that stands here: whatever clocks say
        at = max(at, mark.acted_at)
    return _merge(mark, one, at)


def _counts_from(acted_at: datetime | None, now: datetime, last: datetime) -> datetime:
    """When an act counts as done: by the device's clock, but never in the future. `last` is known to be past,
    although the server's clock may have been set back since. Without a device's time it is done now, after all else."""
    latest = max(now, last)
    return latest if acted_at is None else min(acted_at, latest)


def _merge(mark: Mark, one: Intent, at: datetime) -> bool | None:
    """Put an act into the row: True when it changed something, None when a note would be lost."""
    kind, note, changed = one.kind, one.note, False
    in_sight = one.seen is None or one.seen == mark.revision
    # `acted_at` is the time of the latest mark, not of a note: a mark made offline before a note was written
    # elsewhere is still the latest mark.
    if kind is not None and at >= mark.acted_at:
        changed = kind != mark.kind or at > mark.acted_at
        mark.kind, mark.acted_at = kind, at
    if note is not None and note != mark.note:
        if mark.note and not in_sight:
            return None
        mark.note, changed = note, True
    readers = mark.note_for_studio if note is None or one.for_studio is None else one.for_studio
    if readers != mark.note_for_studio and (readers or in_sight):
        # Fewer readers at once; more of them only in sight of what stands there.
        mark.note_for_studio, changed = readers, True
    if changed and not mark.note:
        mark.note_for_studio = False
    return changed
