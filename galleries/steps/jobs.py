"""The worker's work: listed in the database, rung through the queue, claimed by lease, swept when lost.

The queue carries ids only and may lose or repeat them. A job is claimed by compare-and-set, so that two workers
never do the same piece at once, and each piece may be done again without harm. Killing a worker leaves a lease
that runs out (or, on the same machine, an owner that no longer lives); the sweep puts the job back.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from datetime import timedelta

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Case, Q, When
from django.db.models.expressions import CombinedExpression
from django.db.models.functions import Now

from galleries.errors import DomainError
from galleries.imaging.errors import ImagingError
from galleries.models import Job, Sitting
from galleries.models.compiled import CompiledInsert, CompiledUpdate
from galleries.steps import setbacks
from galleries.told import Told, told
from galleries.words.steps import Code
from portal.process import started

log = logging.getLogger(__name__)

# What does each kind of work, filled by `galleries.tasks`; given the thing's id, it may be run again at any time.
# Who only lists work needs no table, and does not load what does it.
KINDS: dict[str, Callable[[int], object]] = {}
# What follows when a piece of a kind is given up, filled likewise; called in the transaction that says so.
GIVEN_UP: dict[str, Callable[[Job], object]] = {}
# Seconds after which a piece is taken for hung: its lease is renewed no longer, and the process doing it is killed.
SECONDS = {
    "arrival": 300,
    "proof": 300,
    "slate": 300,
    "place": 600,
    "develop": 300,
    "sort": 600,
    "version": 900,
    "delivery": 3600,
    "own copy": 3600,
    "letter": 180,
    "account letter": 180,
    "wish": 180,
    "restamp": 900,
}
SECONDS_OTHERWISE = 900
RING_AGAIN_AFTER = timedelta(seconds=30)
SILENCE = 10.0  # seconds without ringing after the queue could not be reached
_silent = {"until": 0.0}


def enqueue(kind: str, thing: int, sitting: Sitting | None, *, recipe: str = "", again: bool = False) -> Job:
    """List a piece of work (once) and ring for it when the transaction is through.

    `again` puts a piece that was done or failed back to waiting; one that is running is done once more afterwards,
    since it may have looked at things before they changed.
    """
    job = Job(kind=kind, thing=thing, recipe=recipe, sitting=sitting)
    is_new = _list_once(job)
    if not is_new:
        job = Job.objects.get(kind=kind, thing=thing, recipe=recipe)
    if not is_new and again:
        Job.objects.filter(pk=job.pk, state__in=[Job.State.DONE, Job.State.FAILED]).update(
            state=Job.State.WAITING, attempts=0, setbacks=0, not_before=None, reason="", rung_at=None
        )
        Job.objects.filter(pk=job.pk, state=Job.State.RUNNING).update(again=True)
        job.refresh_from_db()
    if job.state == Job.State.WAITING and job.rung_at is None and job.not_before is None:  # else it was, or will be
        transaction.on_commit(lambda: ring({job.pk: job.kind}))
    return job


_list_once = CompiledInsert(Job, once=True)


def ask_again(job: Job) -> None:
    """List what failed anew; let go at once what is held back."""
    Job.objects.filter(pk=job.pk, state=Job.State.WAITING).update(not_before=None, rung_at=None)
    enqueue(job.kind, job.thing, job.sitting, recipe=job.recipe, again=True)


def ring(kinds: Mapping[int, str]) -> None:
    """Tell the queue of these: number → kind. A queue that cannot be reached is no error: the sweep rings again.

    Trying a queue that is down takes seconds, so after a failure nobody in this process tries for a while.
    """
    from portal import bells

    if time.monotonic() < _silent["until"]:
        return
    _note_rung(*kinds)
    try:
        bells.ring((pk, seconds(kind)) for pk, kind in kinds.items())
    except Exception as error:  # noqa: BLE001 - every transport has its own exceptions; the row stays waiting
        log.warning("The queue cannot be reached (%s); the sweep will ring again.", error)
        Job.objects.filter(pk__in=kinds).update(rung_at=None)
        _silent["until"] = time.monotonic() + SILENCE


_note_rung = CompiledUpdate(lambda *pks: Job.objects.filter(pk__in=pks), rung_at=Now())


def get_ready() -> None:
    """Load the queue's client while there is nothing to ring for yet."""
    from portal.celery import app

    with suppress(Exception), app.producer_pool.acquire():  # a queue out of reach is heard of when it is rung
        pass


def bells() -> int:
    """How many bells the queue holds that no worker has heard yet; -1 when it cannot be asked."""
    from kombu.exceptions import ChannelError

    from portal.celery import app

    if time.monotonic() < _silent["until"]:
        return -1
    try:
        with app.connection_for_write() as line, suppress(ChannelError):  # no such queue: nobody rang yet
            line.ensure_connection(max_retries=1, timeout=5)
            return int(line.default_channel.queue_declare(app.conf.task_default_queue, passive=True).message_count)
    except Exception as error:  # noqa: BLE001 - as above
        log.warning("The queue cannot be asked (%s).", error)
        _silent["until"] = time.monotonic() + SILENCE
        return -1
    return 0


def seconds(kind: str) -> int:
    """The longest a piece of this kind may take."""
    return SECONDS.get(kind, SECONDS_OTHERWISE)


def due() -> Q:
    """Of what waits: what is not held back after a setback."""
    return Q(not_before=None) | Q(not_before__lte=Now())


def silent(seconds: float) -> bool:
    """Whether work has waited for `seconds` although it was due, and in that time none was done or is in hand."""
    since = Now() - timedelta(seconds=seconds)
    late = Q(rung_at__lt=since) | Q(rung_at=None, created_at__lt=since)
    if not Job.objects.filter(late, due(), state=Job.State.WAITING).exists():
        return False
    in_hand = Q(state=Job.State.RUNNING, lease_until__gte=Now())
    return not Job.objects.filter(in_hand | Q(done_at__gte=since)).exists()


def _lease() -> CombinedExpression:
    """Until when work just taken is its worker's: by the database's clock, since those of machines differ."""
    return Now() + timedelta(seconds=settings.JOB_LEASE_SECONDS)


def owner_name() -> str:
    """This process, so that another on the same machine can tell whether it still lives: host/pid/start."""
    return f"{socket.gethostname()}/{os.getpid()}/{started(os.getpid())}"


def owner_is_dead(owner: str) -> bool:
    """Known to be gone: same host, and no such process with that start. Unknown counts as alive."""
    host, _, rest = owner.partition("/")
    pid, _, began = rest.partition("/")
    return host == socket.gethostname() and pid.isdigit() and bool(began) and started(int(pid)) != began


def _with_table() -> None:
    """Before work is done, given up or put back.

    Raises:
        LookupError: nobody imported `galleries.tasks` here.
    """
    if not KINDS:
        raise LookupError("galleries.tasks")


def claim(job_id: int) -> Job | None:
    """Take a waiting job; None when it is not waiting (any more), or held back."""
    taken = Job.objects.filter(due(), pk=job_id, state=Job.State.WAITING).update(
        state=Job.State.RUNNING,
        reason="",
        again=False,
        owner=owner_name(),
        lease_until=_lease(),
    )
    return Job.objects.select_related("sitting").get(pk=job_id) if taken else None


@contextmanager
def heartbeat(job: Job) -> Iterator[None]:
    """Renew the lease while the work goes on, from a thread with its own connection; not past the kind's limit."""
    stop, end = threading.Event(), time.monotonic() + seconds(job.kind)

    def beat() -> None:
        while not stop.wait(settings.JOB_LEASE_SECONDS / 3) and time.monotonic() < end:
            with suppress(Exception):  # the next beat tries again; a lost lease only means the work is done twice
                Job.objects.filter(pk=job.pk, owner=job.owner, state=Job.State.RUNNING).update(lease_until=_lease())
        connection.close()

    thread = threading.Thread(target=beat, daemon=True)
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join(timeout=5)


def work(job_id: int) -> str:
    """Do one job, whatever becomes of it; returns the state it was left in ('' when it was not ours to do)."""
    _with_table()
    job = claim(job_id)
    if job is None:
        return ""
    try:
        with heartbeat(job):
            KINDS[job.kind](job.thing)
    except (DomainError, ImagingError) as error:
        return _settle(job, Job.State.FAILED, error.told)  # trying again would say the same
    except Exception as error:
        log.exception("Job %s (%s %s) broke.", job.pk, job.kind, job.thing)
        if setback := setbacks.passing(error):
            return _hold_back(job, setback)
        attempts = job.attempts + 1
        state = Job.State.WAITING if attempts < settings.JOB_ATTEMPTS else Job.State.FAILED
        # Its kind only: an error's own words name addresses and paths of the inside, and stand in the log.
        return _settle(job, state, told(Code.JOB_BROKE, error=type(error).__name__), attempts)
    return _settle(job, Job.State.DONE, None)


def _hold_back(job: Job, setback: Told) -> str:
    """Not this piece's fault: it waits, longer each time, and counts as no attempt."""
    count = min(job.setbacks + 1, 30_000)
    Job.objects.filter(pk=job.pk, owner=job.owner, state=Job.State.RUNNING).update(
        not_before=Now() + setbacks.wait(count), setbacks=count
    )
    return _settle(job, Job.State.WAITING, setback)


def _settle(job: Job, state: str, reason: Told | None, attempts: int | None = None) -> str:
    done = Now() if state == Job.State.DONE else None
    mine = Job.objects.filter(pk=job.pk, owner=job.owner, state=Job.State.RUNNING)
    if state != Job.State.WAITING and mine.filter(again=True).update(
        state=Job.State.WAITING, again=False, reason="", attempts=0, lease_until=None, owner="", rung_at=None
    ):
        ring({job.pk: job.kind})
        return str(Job.State.WAITING)
    with transaction.atomic():
        settled = mine.update(
            state=state,
            reason=reason.as_text(500) if reason else "",
            attempts=job.attempts if attempts is None else attempts,
            lease_until=None,
            owner="",
            done_at=done,
            **({"setbacks": 0, "not_before": None} if done else {}),
            rung_at=None if state == Job.State.WAITING else job.rung_at,
        )
        if settled and state == Job.State.FAILED:
            _given_up(job)
    return str(state)


def _given_up(job: Job) -> None:
    if job.kind in GIVEN_UP:
        GIVEN_UP[job.kind](job)


def _put_back(job: Job) -> None:
    """A piece whose worker is gone: to be done again, or given up when that happened too often."""
    attempts = job.attempts + 1
    given_up = attempts >= settings.JOB_ATTEMPTS
    lease = {"lease_until": job.lease_until}  # renewed meanwhile: then the worker is not gone after all
    with transaction.atomic():
        changed = Job.objects.filter(pk=job.pk, owner=job.owner, state=Job.State.RUNNING, **lease).update(
            state=Job.State.FAILED if given_up else Job.State.WAITING,
            reason=told(Code.JOB_STOPPED).as_text(500) if given_up else "",
            attempts=attempts,
            owner="",
            lease_until=None,
            rung_at=None,
        )
        if changed and given_up:
            _given_up(job)


def sweep() -> int:
    """Put back what hangs, ring for what waits unheard; returns how many were rung for."""
    _with_table()
    lapsed = Q(lease_until=None) | Q(lease_until__lt=Now())
    running = Job.objects.filter(state=Job.State.RUNNING)
    for job in running.annotate(has_lapsed=Case(When(lapsed, then=True), default=False)):
        if job.has_lapsed or owner_is_dead(job.owner):
            _put_back(job)
    unheard = Q(rung_at=None)
    if bells() == 0:  # what was rung for and is neither in the queue nor taken was lost on the way
        unheard |= Q(rung_at__lt=Now() - RING_AGAIN_AFTER)
    kinds = dict(
        Job.objects.filter(unheard, due(), state=Job.State.WAITING).order_by("pk").values_list("pk", "kind")[:500]
    )
    if kinds:
        ring(kinds)
    return len(kinds)


def run_waiting(sitting: Sitting | None = None, kinds: list[str] | None = None) -> int:
    """Do all waiting jobs here and now, without the queue (commands, tests); returns how many were done."""
    count = 0
    while True:
        jobs = Job.objects.filter(due(), state=Job.State.WAITING).order_by("pk")
        if sitting is not None:
            jobs = jobs.filter(sitting=sitting)
        if kinds is not None:
            jobs = jobs.filter(kind__in=kinds)
        first = jobs.first()
        if first is None:
            return count
        if work(first.pk):
            count += 1
