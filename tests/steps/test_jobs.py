"""The table of jobs: claimed once, swept when lost, never done twice at the same time."""

from __future__ import annotations

import errno
import os
import smtplib
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from botocore.exceptions import ClientError, EndpointConnectionError
from django.db import OperationalError
from django.utils import timezone

from galleries.errors import BadInput
from galleries.models import Job
from galleries.steps import jobs, setbacks
from galleries.words.steps import SENTENCES, Code
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

NAME_OWNER = "from galleries.steps import jobs; print(jobs.owner_name())"
CALLS: list[int] = []


def record(thing: int) -> None:
    CALLS.append(thing)


def refuse(thing: int) -> None:
    raise BadInput(f"Frame {thing} cannot be read: it ends in the middle.")


def crash(thing: int) -> None:
    raise OSError("disk is away")


@pytest.fixture(autouse=True)
def _kinds(monkeypatch):
    CALLS.clear()
    for function in (record, refuse, crash):
        monkeypatch.setitem(jobs.KINDS, function.__name__, function)


def test_work_is_listed_once_and_done_once():
    sitting = make_cast().sitting
    one, same = jobs.enqueue("record", 5, sitting), jobs.enqueue("record", 5, sitting)
    assert one == same
    assert jobs.work(one.pk) == "done"
    assert jobs.work(one.pk) == ""
    assert CALLS == [5]
    jobs.enqueue("record", 5, sitting)
    assert Job.objects.get().state == "done"
    jobs.enqueue("record", 5, sitting, again=True)
    assert jobs.run_waiting() == 1
    assert CALLS == [5, 5]


def test_a_sentence_ends_a_job_and_a_crash_is_tried_again_a_few_times(settings):
    sitting = make_cast().sitting
    said = jobs.enqueue("refuse", 7, sitting)
    assert jobs.work(said.pk) == "failed"
    said.refresh_from_db()
    assert said.reason == "Frame 7 cannot be read: it ends in the middle."
    broken = jobs.enqueue("crash", 8, sitting)
    states = [jobs.work(broken.pk) for _ in range(settings.JOB_ATTEMPTS)]
    assert states == ["waiting"] * (settings.JOB_ATTEMPTS - 1) + ["failed"]
    broken.refresh_from_db()
    assert "OSError" in broken.why
    assert "disk is away" not in broken.reason  # what broke inside is for the log


def away(thing: int) -> None:
    raise EndpointConnectionError(endpoint_url="http://10.1.2.3:9000/originals")


def full(thing: int) -> None:
    raise OSError(errno.ENOSPC, "No space left on device", "/srv/portal/files")


@pytest.mark.parametrize(("fault", "said"), [(away, Code.OUT_OF_REACH), (full, Code.DISK_FULL)])
def test_what_passes_by_itself_is_waited_for_and_never_given_up(settings, monkeypatch, fault, said):
    monkeypatch.setitem(jobs.KINDS, "fault", fault)
    job = jobs.enqueue("fault", 1, None)
    waits = []
    for _ in range(settings.JOB_ATTEMPTS * 4):
        Job.objects.update(not_before=None)
        assert jobs.work(job.pk) == "waiting"
        job.refresh_from_db()
        waits.append(round((job.not_before - timezone.now()).total_seconds()))
    assert waits[:3] == [10, 20, 40]
    assert waits[-1] == 600
    assert (job.why, job.attempts) == (SENTENCES[said], 0)
    assert jobs.sweep() == jobs.run_waiting() == 0  # held back
    assert jobs.work(job.pk) == ""
    Job.objects.update(not_before=timezone.now())
    monkeypatch.setitem(jobs.KINDS, "fault", record)
    assert jobs.sweep() == 1
    assert jobs.work(job.pk) == "done"
    job.refresh_from_db()
    assert (job.reason, job.setbacks, job.not_before) == ("", 0, None)


@pytest.mark.parametrize(
    ("error", "passes"),
    [
        (smtplib.SMTPResponseException(451, b"later"), True),
        (smtplib.SMTPResponseException(550, b"no such box"), False),
        (smtplib.SMTPServerDisconnected("gone"), True),
        (ClientError({"ResponseMetadata": {"HTTPStatusCode": 503}}, "GetObject"), True),
        (ClientError({"ResponseMetadata": {"HTTPStatusCode": 403}}, "GetObject"), False),
        (ConnectionRefusedError(), True),
        (OperationalError("server closed the connection"), True),
        (FileNotFoundError(errno.ENOENT, "gone"), False),
        (ValueError("a file that is broken"), False),
    ],
)
def test_what_passes_by_itself_is_told_from_what_does_not(error, passes):
    assert (setbacks.passing(error) is not None) is passes


def test_every_kind_of_work_has_a_limit_that_goes_with_the_bell(monkeypatch):
    import galleries.tasks  # noqa: F401 - fills the table
    from portal import bells

    assert set(jobs.SECONDS) == set(jobs.KINDS) - {"record", "refuse", "crash"}
    sent = []
    monkeypatch.setattr(bells, "ring", sent.extend)
    monkeypatch.setitem(jobs._silent, "until", 0.0)
    job = jobs.enqueue("proof", 1, None)
    jobs.ring({job.pk: "proof"})
    assert sent == [(job.pk, jobs.SECONDS["proof"])]


@pytest.mark.parametrize("ending", [None, BadInput("That frame cannot be read.")])
def test_what_is_asked_for_again_while_it_runs_is_done_once_more(monkeypatch, ending):
    def asks_again(thing: int) -> None:
        CALLS.append(thing)
        if len(CALLS) == 1:
            jobs.enqueue("asks_again", thing, None, again=True)
            if ending:
                raise ending

    monkeypatch.setitem(jobs.KINDS, "asks_again", asks_again)
    job = jobs.enqueue("asks_again", 4, None)
    assert jobs.work(job.pk) == "waiting"
    assert jobs.work(job.pk) == "done"
    job.refresh_from_db()
    assert (CALLS, job.reason, job.again) == ([4, 4], "", False)


@pytest.mark.parametrize("minutes", [-10, 10])
def test_a_machine_whose_clock_is_wrong_takes_no_work_away_and_keeps_none(monkeypatch, minutes):
    """Its leases, its sweep and what it holds back go by the database's clock."""
    real = timezone.now
    about = timezone.now()
    job, held = jobs.enqueue("record", 1, None), jobs.enqueue("away", 2, None)
    monkeypatch.setitem(jobs.KINDS, "away", away)
    monkeypatch.setattr(timezone, "now", lambda: real() + timedelta(minutes=minutes))
    jobs.claim(job.pk)
    Job.objects.filter(pk=job.pk).update(owner="elsewhere/1/1")
    jobs.work(held.pk)
    jobs.sweep()
    monkeypatch.undo()
    job.refresh_from_db()
    held.refresh_from_db()
    assert job.state == "running"
    for moment in (job.lease_until, held.not_before):
        assert abs(moment - about) < timedelta(minutes=4)
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() + timedelta(seconds=30))
    monkeypatch.setattr(timezone, "now", lambda: real() + timedelta(minutes=minutes))
    jobs.sweep()
    job.refresh_from_db()
    assert job.state == "running"


def test_a_running_job_is_nobody_elses():
    job = jobs.enqueue("record", 1, None)
    assert jobs.claim(job.pk) is not None
    assert jobs.claim(job.pk) is None
    assert jobs.sweep() == 0  # its owner lives and its lease holds
    assert Job.objects.get().state == "running"


def test_the_sweep_puts_back_a_lapsed_lease():
    job = jobs.enqueue("record", 1, None)
    jobs.claim(job.pk)
    Job.objects.update(lease_until=timezone.now() - timedelta(seconds=1), owner="elsewhere/1/1")
    assert jobs.sweep() == 1
    assert Job.objects.get().state == "waiting"


def test_an_owner_that_ended_unburied_is_dead():
    """Where nobody waits for a killed worker's processes (a container whose first process does not), they stay on as
    zombies, with a start time and all (proc(5), state Z)."""
    child = subprocess.Popen([sys.executable, "-c", ""])
    os.waitid(os.P_PID, child.pid, os.WEXITED | os.WNOWAIT)
    fields = Path(f"/proc/{child.pid}/stat").read_text().rsplit(")", 1)[1].split()
    assert fields[0] == "Z"
    assert jobs.owner_is_dead(f"{jobs.owner_name().split('/')[0]}/{child.pid}/{fields[19]}")
    child.wait()


def test_the_sweep_knows_a_dead_owner_on_this_machine_at_once():
    job = jobs.enqueue("record", 1, None)
    jobs.claim(job.pk)
    child = subprocess.run(
        [
            sys.executable,
            "-c",
            f"import django; django.setup(); {NAME_OWNER}",
        ],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "portal.settings"},
        cwd=Path(__file__).parents[2],
    )
    Job.objects.update(owner=child.stdout.strip())
    assert jobs.sweep() == 1
    assert Job.objects.get().state == "waiting"


def test_a_job_that_kills_its_worker_every_time_is_given_up_with_a_reason(settings):
    job = jobs.enqueue("record", 1, None)
    for _ in range(settings.JOB_ATTEMPTS):
        Job.objects.filter(pk=job.pk).update(state="running", lease_until=timezone.now() - timedelta(seconds=1))
        jobs.sweep()
    job.refresh_from_db()
    assert job.state == "failed"
    assert "again and again" in job.why


def test_a_result_that_comes_after_the_lease_was_lost_does_not_count():
    job = jobs.enqueue("record", 1, None)
    mine = jobs.claim(job.pk)
    Job.objects.update(owner="another/2/2")
    jobs._settle(mine, "done", "")
    job.refresh_from_db()
    assert (job.state, job.owner) == ("running", "another/2/2")


@pytest.mark.usefixtures("_empty_queue")
def test_what_waits_unheard_is_rung_for_again_and_not_all_the_time():
    from portal.celery import app

    job = jobs.enqueue("record", 1, None)
    assert jobs.sweep() == 1
    assert jobs.sweep() == 0
    app.control.purge()  # the bell is lost
    assert jobs.sweep() == 0
    Job.objects.update(rung_at=timezone.now() - jobs.RING_AGAIN_AFTER - timedelta(seconds=1))
    assert jobs.sweep() == 1
    job.refresh_from_db()
    assert job.state == "waiting"


@pytest.fixture
def _empty_queue():
    from portal.celery import app

    app.control.purge()
    yield
    app.control.purge()


@pytest.mark.usefixtures("_empty_queue")
def test_what_waits_in_the_queue_is_not_rung_for_again(django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        for thing in range(5):
            jobs.enqueue("record", thing, None)
    assert jobs.bells() == 5
    with django_capture_on_commit_callbacks(execute=True):
        for thing in range(5):
            jobs.enqueue("record", thing, None, again=True)
    for _ in range(3):
        Job.objects.update(rung_at=timezone.now() - jobs.RING_AGAIN_AFTER - timedelta(seconds=1))
        assert jobs.sweep() == 0
    assert jobs.bells() == 5


def test_a_queue_that_is_away_is_no_error(monkeypatch):
    from portal import bells

    def away(*args, **kwargs):
        raise ConnectionError("no queue")

    monkeypatch.setattr(bells, "ring", away)
    job = jobs.enqueue("record", 3, None)
    jobs.ring({job.pk: job.kind})
    assert Job.objects.get().state == "waiting"
