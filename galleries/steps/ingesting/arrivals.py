"""Frames that come in by parts, straight to the bucket: who may send which, what is there, what became of it.

The web process never carries them: for each part it is asked (by the proxy) whether this person may send it, and it
answers with an address of the store, signed for this part alone and for minutes. Whole files wait apart from all others
until the worker has read them: hash, kind by content, limits, as of any file that comes in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from math import ceil
from typing import TYPE_CHECKING, cast

from django.conf import settings
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import Arrival, Job, Refusal, Sitting
from galleries.steps import jobs
from galleries.steps.ingesting import incoming, ingest
from galleries.told import Told, told
from galleries.words.steps import Code

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from galleries.bucket import BucketStore

# S3's API takes parts of 5 MiB to 5 GiB, the last may be smaller (Amazon S3 User Guide, multipart upload limits): small
# enough that a line that breaks costs little, large enough that most frames are one.
PART = 16 << 20
MOST = 200  # files of one person in one sitting that are not through; the page sends four at a time
KEPT = timedelta(days=1)


def are_taken() -> bool:
    """Whether files can come in so: the proxy speaks for the site, and they lie in a bucket."""
    return settings.FILES == "s3" and settings.INTERNAL_REDIRECT


def _bucket() -> BucketStore:
    return cast("BucketStore", storage.private())


def _asked(by: Visitor, sitting: Sitting) -> User:
    """Who sends.

    Raises:
        Refused: not this person's to do, or the sitting is archived.
        Missing: frames come in another way here.
    """
    require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    ingest.check_open(sitting)
    if by.user is None or not are_taken():
        raise Missing(_("Files do not come in by parts here."))
    return by.user


def _place(arrival: Arrival) -> str:
    return storage.arriving_key(arrival.sitting.uid, arrival.pk)


def count(arrival: Arrival) -> int:
    """How many parts the file has."""
    return ceil(arrival.bytes / PART)


def size_of(arrival: Arrival, number: int) -> int:
    """Bytes of one part; 0 where there is no such part."""
    return max(0, min(PART, arrival.bytes - (number - 1) * PART)) if number > 0 else 0


def begin(sitting: Sitting, name: str, sha256: str, size: int, by: Visitor) -> tuple[Arrival, list[int]] | None:
    """A file is to come: the row that its parts are sent to, the one of before where it was broken off, and the numbers
    of the parts that need not be sent. None where the store takes no parts.

    Raises:
        Refused: not this person's to do, the sitting is archived, or too much is on its way already.
        Missing: frames come in another way here.
        BadInput: the file is empty, or larger than a frame may be.
    """
    sender = _asked(by, sitting)
    if size <= 0:
        raise BadInput(_("The file is empty, or its length was not announced."))
    if size > settings.MAX_FRAME_BYTES:
        raise incoming.too_much()
    mine = Arrival.objects.filter(sitting=sitting, user=sender, state__in=["sending", "arrived"])
    arrival = mine.filter(sha256=sha256).first()
    if arrival is None:
        if mine.count() >= MOST:
            raise Refused(_("%d files are on their way in already. Wait until some of them are here.") % MOST)
        arrival, _is_new = Arrival.objects.get_or_create(
            sitting=sitting, user=sender, sha256=sha256, state__in=["sending", "arrived"],
            defaults={"name": ingest.clean_name(name), "bytes": size, "state": "sending", "upload": ""},
        )  # fmt: skip
    if arrival.bytes != size:
        raise BadInput(_("The file is empty, or its length was not announced."))
    if arrival.state != Arrival.State.SENDING:
        return arrival, list(range(1, count(arrival) + 1))
    there = _there(arrival)
    if there is None:
        arrival.upload = _bucket().begin(_place(arrival))
        Arrival.objects.filter(pk=arrival.pk).update(upload=arrival.upload)
        if not arrival.upload:
            arrival.delete()
            return None
    return arrival, _whole(arrival, there or {})


def _there(arrival: Arrival) -> dict[int, tuple[int, str]] | None:
    """The parts as the store tells them; None where it knows of no such upload."""
    try:
        return _bucket().parts(_place(arrival), arrival.upload) if arrival.upload else None
    except FileNotFoundError:
        return None


def _whole(arrival: Arrival, there: Mapping[int, tuple[int, str]]) -> list[int]:
    return [number for number, (size, _tag) in there.items() if size == size_of(arrival, number)]


def _own(sitting: Sitting, arrival_id: int, by: Visitor) -> Arrival:
    arrival = Arrival.objects.filter(pk=arrival_id, sitting=sitting, user=by.user).first()
    if arrival is None:
        raise Missing(_("There is no such file on its way in. Send it again."))
    return arrival


def part(sitting: Sitting, arrival_id: int, number: int, size: int, by: Visitor) -> str:
    """Where the proxy sends this part: path and query of the store, signed for it alone, its length and some minutes.

    Raises:
        Refused: not this person's to do, or the sitting is archived.
        Missing: no file of theirs, or no such part of it.
        BadInput: the part is of another length.
    """
    _asked(by, sitting)
    arrival = _own(sitting, arrival_id, by)
    wanted = size_of(arrival, number)
    if not wanted or arrival.state != Arrival.State.SENDING or arrival.created_at < timezone.now() - KEPT:
        raise Missing(_("There is no such file on its way in. Send it again."))
    if size != wanted:
        raise BadInput(_("The part is not as long as it should be."))
    return _bucket().signed_part(_place(arrival), arrival.upload, number, wanted)


def join(sitting: Sitting, arrival_id: int, by: Visitor) -> Arrival:
    """All parts are sent: they become one file, and the worker looks at it. A second time changes nothing.

    Raises:
        Refused: not this person's to do, or the sitting is archived.
        Missing: no file of theirs.
        Conflict: parts are missing.
    """
    _asked(by, sitting)
    arrival = _own(sitting, arrival_id, by)
    if arrival.state != Arrival.State.SENDING:
        return arrival
    there = _there(arrival) or {}
    if len(_whole(arrival, there)) != count(arrival):
        raise Conflict(_("“%s” is not here whole. Send it again.") % arrival.name)
    try:
        _bucket().join(_place(arrival), arrival.upload, there)
    except FileNotFoundError:  # joined at the same moment, or by a call whose answer was lost: the worker sees
        if not _bucket().exists(_place(arrival)):
            raise Conflict(_("“%s” is not here whole. Send it again.") % arrival.name) from None
    with transaction.atomic():
        if Arrival.objects.filter(pk=arrival.pk, state="sending").update(state=Arrival.State.ARRIVED):
            jobs.enqueue("arrival", arrival.pk, sitting)
    arrival.refresh_from_db()
    return arrival


def states(sitting: Sitting, ids: Iterable[int], by: Visitor) -> list[Arrival]:
    """What became of these files of theirs.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    return list(Arrival.objects.filter(pk__in=list(ids), sitting=sitting, user=by.user).order_by("pk"))


# --- the worker's ---


def take_in(arrival_id: int) -> None:
    """Read a file that came in whole; it becomes a frame, or is refused by name. Its sender is asked for their right
    once more. Doing it again is harmless."""
    arrival = Arrival.objects.select_related("sitting", "user").filter(pk=arrival_id, state="arrived").first()
    if arrival is None:
        return
    place, sender = _place(arrival), Visitor(user=arrival.user)
    try:
        with storage.at_hand(storage.private(), place) as path:
            arrived = incoming.Arrived(path, ingest.sha256_of(path), path.stat().st_size, place)
            outcome = ingest.add_frame(arrival.sitting, arrived, arrival.name, sender, digest=arrival.sha256)
    except FileNotFoundError:
        _refuse(arrival, told(Code.ARRIVAL_LOST))
    except DomainError as error:
        _refuse(arrival, error.told)
    else:
        _settle(arrival, outcome.state, outcome.told)
    _bucket().delete(place)


def given_up(job: Job) -> None:
    """In the transaction that gives the job up: the file is named as refused."""
    arrival = Arrival.objects.select_related("sitting").filter(pk=job.thing, state="arrived").first()
    if arrival is not None:
        _refuse(arrival, told(Code.JOB_STOPPED))


def _refuse(arrival: Arrival, why: Told) -> None:
    if not Sitting.objects.filter(pk=arrival.sitting_id).exists():  # removed for good meanwhile
        return
    Refusal.objects.update_or_create(
        sitting=arrival.sitting, name=arrival.name, bytes=arrival.bytes, defaults={"reason": why.as_text(500)}
    )
    _settle(arrival, Arrival.State.REFUSED, why)


def _settle(arrival: Arrival, state: str, why: Told | None) -> None:
    reason = why.as_text(500) if why else ""
    Arrival.objects.filter(pk=arrival.pk).update(state=state, reason=reason, upload="")


def sweep() -> int:
    """Break off what was begun more than a day ago and never came whole, here or in the store; forget what is through.
    Returns how many uploads were broken off."""
    if settings.FILES != "s3":
        return 0
    before = timezone.now() - KEPT
    old = Arrival.objects.select_related("sitting").filter(created_at__lt=before)
    late = {(_place(one), one.upload) for one in old.filter(state=Arrival.State.SENDING)}
    young = set(Arrival.objects.filter(created_at__gte=before).values_list("upload", flat=True))
    for key, upload, begun in _bucket().unfinished(f"{storage.ARRIVING}/"):
        if upload not in young and begun < before:  # begun, and then killed before its row knew
            late.add((key, upload))
    for key, upload in late:
        _bucket().break_off(key, upload)
    _drop_files(before)
    old.exclude(state=Arrival.State.ARRIVED).delete()
    return len(late)


def _drop_files(before: datetime) -> None:
    """Whole files whose worker was killed between the frame and their end, or whose sitting is gone."""
    waiting = {_place(one) for one in Arrival.objects.select_related("sitting").filter(state=Arrival.State.ARRIVED)}
    for key in list(_bucket().keys(storage.ARRIVING)):
        if key not in waiting and _bucket().get_modified_time(key) < before:
            _bucket().delete(key)
