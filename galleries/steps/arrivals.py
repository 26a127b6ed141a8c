"""Frames and retouches that come in by parts, straight to the bucket: who may send which, what became of it.

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
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import storage
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused
from galleries.models import Arrival, Job, Refusal, Sitting
from galleries.steps import jobs
from galleries.steps.finishing import versions
from galleries.steps.ingesting import incoming, ingest
from galleries.told import Told, told
from galleries.words.steps import Code

if TYPE_CHECKING:
    from galleries.bucket import BucketStore

# S3's API takes parts of 5 MiB to 5 GiB, the last may be smaller (Amazon S3 User Guide, multipart upload limits): small
# enough that a line that breaks costs little, large enough that most frames are one.
PART = 16 << 20
# Files of one person in one sitting that are not through: of the studio's people, of somebody invited. The page sends
# four at a time, and waits where more than 40 are not looked at yet.
MOST, MOST_INVITED = 200, 60
KEPT = timedelta(days=1)
Kind = Arrival.Kind
BECAME = {"matched": Arrival.State.NEW, "stray": Arrival.State.STRAY, "same": Arrival.State.SAME}


def are_taken() -> bool:
    """Whether files can come in so: the proxy speaks for the site, and they lie in a bucket."""
    return settings.FILES == "s3" and settings.INTERNAL_REDIRECT


def _bucket() -> BucketStore:
    return cast("BucketStore", storage.private())


def _ask(by: Visitor, sitting: Sitting, kind: str) -> None:
    """
    Raises:
        Refused: not this person's to send, or not now.
        Missing: files come in another way here.
    """
    if kind == Kind.FRAME:
        require(by, Act.RUN, sitting, _("Frames are the photographer's to bring."))
    elif by.invite is not None:
        require(by, Act.SEND_VERSION, sitting)
    else:
        require(by, Act.RUN, sitting, _("Retouched files are the photographer's to add."))
    if not are_taken():
        raise Missing(_("Files do not come in by parts here."))
    if kind == Kind.RETOUCH:
        versions.check_sending(sitting, by)
    else:
        ingest.check_open(sitting)


def _mine(sitting: Sitting, kind: str, by: Visitor) -> QuerySet[Arrival]:
    """Nobody knows of another's."""
    if by.user is None and by.invite is None:
        return Arrival.objects.none()
    return Arrival.objects.filter(sitting=sitting, kind=kind, user=by.user, invite=by.invite)


def _place(arrival: Arrival) -> str:
    return storage.arriving_key(arrival.sitting.uid, arrival.pk)


def count(arrival: Arrival) -> int:
    """How many parts the file has."""
    return ceil(arrival.bytes / PART)


def size_of(arrival: Arrival, number: int) -> int:
    """Bytes of one part; 0 where there is no such part."""
    return max(0, min(PART, arrival.bytes - (number - 1) * PART)) if number > 0 else 0


def begin(
    sitting: Sitting, kind: str, name: str, sha256: str, size: int, by: Visitor
) -> tuple[Arrival, list[int]] | None:
    """A file is to come: the row that its parts are sent to, the one of before where it was broken off, and the numbers
    of the parts that need not be sent. None where the store takes no parts.

    Raises:
        Refused: not this person's to send, or not now, or too much is on its way already.
        Missing: files come in another way here.
        BadInput: the file is empty, or larger than a frame may be.
    """
    _ask(by, sitting, kind)
    if size <= 0:
        raise BadInput(_("The file is empty, or its length was not announced."))
    if size > settings.MAX_FRAME_BYTES:
        raise incoming.too_much()
    mine = _mine(sitting, kind, by).filter(state__in=["sending", "arrived"])
    arrival = mine.filter(sha256=sha256).first()
    if arrival is None:
        most = MOST if by.invite is None else MOST_INVITED
        if mine.count() >= most:
            raise Refused(_("%d files are on their way in already. Wait until some of them are here.") % most)
        arrival, _is_new = mine.get_or_create(
            sitting=sitting, kind=kind, user=by.user, invite=by.invite, sha256=sha256,
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


def _own(sitting: Sitting, kind: str, arrival_id: int, by: Visitor) -> Arrival:
    arrival = _mine(sitting, kind, by).filter(pk=arrival_id).first()
    if arrival is None:
        raise Missing(_("There is no such file on its way in. Send it again."))
    return arrival


def part(sitting: Sitting, kind: str, arrival_id: int, number: int, size: int, by: Visitor) -> str:
    """Where the proxy sends this part: path and query of the store, signed for it alone, its length and some minutes.

    Raises:
        Refused: not this person's to send, or not now.
        Missing: no file of theirs, or no such part of it.
        BadInput: the part is of another length.
    """
    _ask(by, sitting, kind)
    arrival = _own(sitting, kind, arrival_id, by)
    wanted = size_of(arrival, number)
    if not wanted or arrival.state != Arrival.State.SENDING or arrival.created_at < timezone.now() - KEPT:
        raise Missing(_("There is no such file on its way in. Send it again."))
    if size != wanted:
        raise BadInput(_("The part is not as long as it should be."))
    return _bucket().signed_part(_place(arrival), arrival.upload, number, wanted)


def join(sitting: Sitting, kind: str, arrival_id: int, by: Visitor) -> Arrival:
    """All parts are sent: they become one file, and the worker looks at it. A second time changes nothing.

    Raises:
        Refused: not this person's to send, or not now.
        Missing: no file of theirs.
        Conflict: parts are missing.
    """
    _ask(by, sitting, kind)
    arrival = _own(sitting, kind, arrival_id, by)
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


def states(sitting: Sitting, kind: str, ids: Iterable[int], by: Visitor) -> list[Arrival]:
    """What became of these files of theirs.

    Raises:
        Refused: not this person's to know.
    """
    act = Act.RUN if by.invite is None else Act.SEE_RETOUCHING
    require(by, act, sitting, _("Frames are the photographer's to bring."))
    return list(_mine(sitting, kind, by).filter(pk__in=list(ids)).order_by("pk"))


def refused_retouches(sitting: Sitting, by: Visitor) -> list[Arrival]:
    """Of a day, those that this person sent and that were looked at when perhaps nobody waited for the answer any more;
    not those whose name came again and was taken.

    Raises:
        Refused: not this person's to know.
    """
    require(by, Act.RUN if by.invite is None else Act.SEE_RETOUCHING, sitting)
    newest: dict[str, Arrival] = {}
    for one in _mine(sitting, Kind.RETOUCH, by).exclude(state=Arrival.State.SENDING).order_by("pk"):
        newest[one.name] = one
    return [one for one in newest.values() if one.state == Arrival.State.REFUSED]


# --- the worker's ---


def take_in(arrival_id: int) -> None:
    """Read a file that came in whole; it becomes a frame or a retouch, or is refused by name. Its sender is asked for
    their right once more. Doing it again is harmless."""
    rows = Arrival.objects.select_related("sitting", "user", "invite")
    arrival = rows.filter(pk=arrival_id, state="arrived").first()
    if arrival is None:
        return
    place = _place(arrival)
    try:
        with storage.at_hand(storage.private(), place) as path:
            arrived = incoming.Arrived(path, ingest.sha256_of(path), path.stat().st_size, place)
            state, why = _taken(arrival, arrived, Visitor(user=arrival.user, invite=arrival.invite))
    except FileNotFoundError:
        _refuse(arrival, told(Code.ARRIVAL_LOST))
    except DomainError as error:
        _refuse(arrival, error.told)
    else:
        _settle(arrival, state, why)
    _bucket().delete(place)


def _taken(arrival: Arrival, arrived: incoming.Arrived, by: Visitor) -> tuple[str, Told | None]:
    """What it became, and why."""
    if arrival.kind == Kind.RETOUCH:
        retouch = versions.add_retouch(arrival.sitting, arrived, arrival.name, by, digest=arrival.sha256)
        return BECAME.get(retouch.kind, Arrival.State.REFUSED), retouch.told
    outcome = ingest.add_frame(arrival.sitting, arrived, arrival.name, by, digest=arrival.sha256)
    return outcome.state, outcome.told


def given_up(job: Job) -> None:
    """In the transaction that gives the job up: the file is named as refused."""
    arrival = Arrival.objects.select_related("sitting").filter(pk=job.thing, state="arrived").first()
    if arrival is not None:
        _refuse(arrival, told(Code.JOB_STOPPED))


def _refuse(arrival: Arrival, why: Told) -> None:
    if not Sitting.objects.filter(pk=arrival.sitting_id).exists():  # removed for good meanwhile
        return
    if arrival.kind == Kind.FRAME:
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
