"""Deletion on request: pictures, derivatives, face readings, caches and words go; that it was done stays.

First one transaction removes the rows and notes that the files are to go; then the files go; then it is noted that
they are gone. A process killed in between is caught up by `finish_erasures`. Backups are outside the program's
reach, and so are files that people fetched: whoever asked must be told.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import connection, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import PROGRAM, Act, Visitor, require
from galleries.errors import BadInput, Refused
from galleries.models import Delivery, Erasure, Final, Frame, Invite, JournalLine, Leaving, Sitting, Verb
from galleries.steps.keeping import inventory

# A restore that takes longer was cut short: what it had put there goes again.
RESTORING_AT_MOST = timedelta(days=1)


@dataclass(frozen=True)
class Removed:
    """What went, and what a scan of both stores still finds (nothing, or it was not done)."""

    uid: str
    frames: int
    files: int
    left: tuple[str, ...]


def erase(sitting: Sitting, by: Visitor, why: str) -> Removed:
    """Remove a sitting for good. The record names neither subject nor sitting: a number, who did it, when and why.

    Raises:
        Refused: not this person's to do.
        BadInput: no reason given.
    """
    require(by, Act.RUN, sitting, _("Only the sitting's photographer removes it."))
    if by.user is None or by.user.pk != sitting.photographer_id:
        raise Refused(_("Only the sitting's photographer removes it."))
    why = " ".join(why.split())[:200]
    if not why:
        raise BadInput(_("Say why the sitting is removed; the reason is all that is kept of it."))
    _remove_letters(sitting)
    with transaction.atomic():
        _hold_people(sitting)
        Sitting.objects.select_for_update(of=("self",)).get(pk=sitting.pk)
        erasure = _gone(sitting, by, why)
    return _remove_files(erasure, by)


def erase_by_the_clock(sitting: Sitting) -> Removed | None:
    """Remove a sitting whose day is over; `removal` says when that may be. None when its day was set anew meanwhile."""
    day = sitting.keep_until
    _remove_letters(sitting)
    with transaction.atomic():
        _hold_people(sitting)
        same = Sitting.objects.select_for_update(of=("self",)).filter(pk=sitting.pk, keep_until=day)
        if day is None or not same.exists():
            return None
        erasure = _gone(sitting, PROGRAM, until=day.isoformat())
    return _remove_files(erasure, PROGRAM)


def _hold_people(sitting: Sitting) -> None:
    """Wait for marks in the middle of being stored, and hold up others: a mark holds its person's row before it counts
    in the sitting's, so in the other order each would wait for the other."""
    list(sitting.invites.select_for_update(no_key=True).order_by("pk").values_list("pk", flat=True))


def _gone(sitting: Sitting, by: Visitor, why: str = "", **detail: Any) -> Erasure:
    """The rows, and the note that the files are to follow: one transaction, whose caller holds the sitting's row:
    whoever is just writing something that hangs on it is waited for, and what comes later finds it gone."""
    erasure = Erasure.objects.create(
        uid=sitting.uid, number=sitting.pk, who=by.who[:140], why=why, frames=sitting.frames.count()
    )
    _remove_rows(sitting)
    detail |= {"why": why} if why else {}
    _note(erasure, by, Verb.ERASURE_BEGUN, frames=erasure.frames, number=erasure.number, **detail)
    return erasure


def _remove_letters(sitting: Sitting) -> None:
    """Letters that the embedded way keeps in a folder: those to people of this sitting and of no other."""
    folder = Path(settings.EMAIL_FILE_PATH)
    if settings.MAIL != "folder" or not folder.is_dir():
        return
    elsewhere = set(Invite.objects.exclude(sitting=sitting).values_list("email", flat=True))
    gone = {
        f"To: {email}".encode() for email in sitting.invites.values_list("email", flat=True) if email not in elsewhere
    }
    for path in folder.iterdir():
        if path.is_file() and not gone.isdisjoint(path.read_bytes().splitlines()):
            path.unlink(missing_ok=True)


def _remove_rows(sitting: Sitting) -> None:
    """All rows that hang on the sitting, its journal included: lines hold names, file names and notes."""
    leaving = Leaving.objects.create(sitting=sitting.pk)  # else the database lets no line go
    JournalLine._base_manager.filter(sitting=sitting).delete()
    leaving.delete()
    Sitting.objects.filter(pk=sitting.pk).update(current_look=None)
    Delivery.objects.filter(sitting=sitting).delete()
    Final.objects.filter(sitting=sitting).delete()
    Frame.objects.filter(sitting=sitting).delete()
    sitting.delete()


def _note(erasure: Erasure, by: Visitor, verb: Verb, **detail: Any) -> None:
    JournalLine.objects.create(sitting=None, sitting_slug=erasure.uid.hex, who=by.who[:140], verb=verb, detail=detail)


def _remove_files(erasure: Erasure, by: Visitor) -> Removed:
    uid = erasure.uid
    home = storage.home(uid)
    storage.shut(uid)  # before the files go: a worker that is in the middle of something stores nothing afterwards
    files = sum(inventory.listing(name).remove_prefix(home) for name in (inventory.PRIVATE, inventory.PROOFS))
    inventory.listing(inventory.PRIVATE).remove_prefix(storage.arriving_home(uid))
    _clear_log()
    left = scan(uid)
    if not left:
        with transaction.atomic():
            Erasure.objects.filter(pk=erasure.pk).update(done_at=timezone.now(), files=F("files") + files)
            _note(erasure, by, Verb.ERASED, frames=erasure.frames, files=files)
    return Removed(uid.hex, erasure.frames, files, left)


def _clear_log() -> None:
    """SQLite's write-ahead log still holds the pages as they were: empty it. A reader that holds it up delays that
    to the next erasure or restart; a database server clears its own dead rows."""
    if connection.vendor == "sqlite" and not connection.in_atomic_block:
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def scan(uid: UUID) -> tuple[str, ...]:
    """Whatever of a sitting still lies in the stores, as 'store:key'."""
    home = storage.home(uid)
    remains = [
        f"{name}:{key}" for name in (inventory.PRIVATE, inventory.PROOFS) for key in inventory.listing(name).keys(home)
    ]
    return tuple(remains)


def unfinished() -> list[Erasure]:
    """Erasures with files still there: the process was stopped in between, or a worker wrote one more afterwards.
    Not those of a sitting that is back from its archive, or is just coming."""
    coming = Q(restore_begun_at__gt=timezone.now() - RESTORING_AT_MOST)
    gone = Erasure.objects.exclude(uid__in=Sitting.objects.values("uid")).exclude(coming)
    return [one for one in gone if one.done_at is None or scan(one.uid)]


def finish_erasures() -> list[Removed]:
    """Catch up with what was begun; harmless at any time."""
    return [_remove_files(one, PROGRAM) for one in unfinished()]


def comes_back(uid: UUID) -> None:
    """The sitting is about to come back from its archive: what lies in its folder is no left-over."""
    Erasure.objects.filter(uid=uid).update(restore_begun_at=timezone.now())
