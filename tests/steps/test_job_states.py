"""A job between waiting and done, state by state: what is asked for again, taken, settled, put back and rung for."""

from __future__ import annotations

import os
import socket
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from galleries.models import Job, Sitting
from galleries.steps import jobs
from tests.cast import make_cast


@pytest.fixture
def sitting(db: None) -> Sitting:
    return make_cast().sitting


def job(state: str = "waiting", **fields: Any) -> Job:
    made = Job.objects.create(**{"kind": "proof", "thing": Job.objects.count(), "state": state, **fields})
    if "created_at" in fields:
        Job.objects.filter(pk=made.pk).update(created_at=fields["created_at"])
    return made


def ago(seconds: float) -> Any:
    return timezone.now() - timedelta(seconds=seconds)


@pytest.mark.parametrize(
    ("state", "again", "wanted"),
    [
        ("waiting", True, ("waiting", False, 2, "told")), ("running", True, ("running", True, 2, "told")),
        ("done", True, ("waiting", False, 0, "")), ("failed", True, ("waiting", False, 0, "")),
        ("done", False, ("done", False, 2, "told")), ("failed", False, ("failed", False, 2, "told")),
        ("running", False, ("running", False, 2, "told")),
    ],
)  # fmt: skip
def test_what_is_asked_for_again_waits_anew_or_is_done_once_more(
    sitting: Sitting, state: str, again: bool, wanted: tuple[Any, ...]
) -> None:
    later = timezone.now() + timedelta(hours=1)
    made = job(state, thing=7, attempts=2, setbacks=3, reason="told", not_before=later, rung_at=later)
    beside = [job(state, thing=8), job(state, thing=7, kind="sort"), job(state, thing=7, recipe="r")]
    there = list(Job.objects.filter(pk__in=[one.pk for one in beside]).order_by("pk").values())
    asked = jobs.enqueue("proof", 7, sitting, again=again)
    assert asked.pk == made.pk
    made.refresh_from_db()
    assert (made.state, made.again, made.attempts, made.reason) == wanted
    if wanted[2] == 0:
        assert (made.setbacks, made.not_before, made.rung_at) == (0, None, None)
    assert list(Job.objects.filter(pk__in=[one.pk for one in beside]).order_by("pk").values()) == there


@pytest.mark.parametrize(
    ("fields", "rings"),
    [
        ({}, True), ({"rung_at": timezone.now}, False), ({"not_before": timezone.now}, False),
        ({"state": "running"}, False),        ({"state": "done"}, False),
    ],
)  # fmt: skip
def test_it_is_rung_for_once_and_not_while_it_is_held_back(
    sitting: Sitting, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any,
    fields: dict[str, Any], rings: bool,
) -> None:  # fmt: skip
    rung: list[dict[int, str]] = []
    monkeypatch.setattr(jobs, "ring", rung.append)
    made = job(thing=7, **{name: value() if callable(value) else value for name, value in fields.items()})
    with django_capture_on_commit_callbacks(execute=True):
        jobs.enqueue("proof", 7, sitting)
        assert rung == []
    assert rung == ([{made.pk: made.kind}] if rings else [])


@pytest.mark.parametrize("state", ["waiting", "failed"])
def test_who_asks_again_by_hand_waits_for_no_setback(sitting: Sitting, state: str) -> None:
    made = job(
        state, thing=7, sitting=sitting, recipe="r", not_before=timezone.now() + timedelta(hours=1), rung_at=ago(0)
    )
    other = job("waiting", thing=8, not_before=timezone.now() + timedelta(hours=1))
    jobs.ask_again(made)
    made.refresh_from_db()
    other.refresh_from_db()
    assert (made.state, made.not_before, made.rung_at) == ("waiting", None, None)
    assert other.not_before is not None
    assert Job.objects.count() == 2


# Seconds ago, none so near to the minute that a slow machine tells otherwise; below nought is still to come.
SILENT: list[tuple[str, list[dict[str, Any]], bool]] = [
    ("nothing waits", [], False),
    ("it waits for more than a minute", [{"rung_at": 90, "created_at": 120}], True),
    ("not yet a minute", [{"rung_at": 30, "created_at": 120}], False),
    ("never rung", [{"created_at": 90}], True),
    ("just listed", [{"created_at": 30}], False),
    ("held back", [{"rung_at": 90, "created_at": 120, "not_before": -60}], False),
    ("held back until now", [{"rung_at": 90, "created_at": 120, "not_before": 20}], True),
    ("failed, not waiting", [{"state": "failed", "rung_at": 90, "created_at": 120}], False),
    ("one was done since", [{"rung_at": 90, "created_at": 120}, {"state": "done", "done_at": 30}], False),
    ("one was done before", [{"rung_at": 90, "created_at": 120}, {"state": "done", "done_at": 95}], True),
    ("one is in hand", [{"rung_at": 90, "created_at": 120}, {"state": "running", "lease_until": -60}], False),
    ("one hangs", [{"rung_at": 90, "created_at": 120}, {"state": "running", "lease_until": 30}], True),
]


@pytest.mark.django_db
@pytest.mark.parametrize(("rows", "silent"), [row[1:] for row in SILENT], ids=[row[0] for row in SILENT])
def test_the_worker_is_silent_when_work_waited_and_none_was_done(rows: list[dict[str, Any]], silent: bool) -> None:
    for row in rows:
        job(row.get("state", "waiting"), **{name: ago(value) for name, value in row.items() if name != "state"})
    assert jobs.silent(60) is silent


@pytest.mark.parametrize(
    ("owner", "dead"),
    [
        ("{host}/{pid}/{start}", False), ("{host}/{pid}/1", True), ("{host}/{gone}/1", True),
        ("elsewhere/{pid}/1", False), ("{host}/{pid}/", False), ("{host}/x/1", False), ("{host}", False), ("", False),
    ],
)  # fmt: skip
def test_an_owner_is_dead_when_it_is_known_to_be(owner: str, dead: bool) -> None:
    start = jobs.owner_name().split("/")[2]
    gone = 2**22 + 1  # no process has a number above the kernel's highest (proc(5), pid_max)
    assert jobs.owner_is_dead(owner.format(host=socket.gethostname(), pid=os.getpid(), start=start, gone=gone)) is dead


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "not_before", "taken"),
    [("waiting", None, True), ("waiting", -60, True), ("waiting", 60, False), ("running", None, False),
     ("done", None, False), ("failed", None, False)],
)  # fmt: skip
def test_only_what_waits_and_is_due_is_taken(state: str, not_before: int | None, taken: bool) -> None:
    due = None if not_before is None else ago(-not_before)
    made, other = job(state, not_before=due, reason="told", again=True), job()
    claimed = jobs.claim(made.pk)
    assert (claimed is not None) is taken
    if claimed is not None:
        assert (claimed.state, claimed.reason, claimed.again, claimed.owner) == (
            "running",
            "",
            False,
            jobs.owner_name(),
        )
        assert claimed.lease_until is not None
        assert claimed.lease_until > timezone.now()
    other.refresh_from_db()
    assert other.state == "waiting"


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["done", "failed", "waiting"])
def test_what_is_settled_is_nobodys_any_more_and_says_when(state: str, monkeypatch: pytest.MonkeyPatch) -> None:
    given_up: list[int] = []
    monkeypatch.setitem(jobs.GIVEN_UP, "proof", lambda job: given_up.append(job.pk))
    made, other = job(setbacks=4, not_before=ago(5), rung_at=ago(9), attempts=1), job("running", owner="x/1/1")
    claimed = jobs.claim(made.pk)
    assert claimed is not None
    assert jobs._settle(claimed, state, None) == state
    made.refresh_from_db()
    other.refresh_from_db()
    assert (made.state, made.owner, made.lease_until, made.attempts) == (state, "", None, 1)
    assert (made.done_at is not None) is (state == "done")
    assert (made.setbacks, made.not_before is None) == ((0, True) if state == "done" else (4, False))
    assert (made.rung_at is None) is (state == "waiting")
    assert given_up == ([made.pk] if state == "failed" else [])
    assert (other.state, other.owner) == ("running", "x/1/1")


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["done", "failed"])
def test_what_was_asked_for_again_meanwhile_waits_and_is_rung_for(state: str, monkeypatch: pytest.MonkeyPatch) -> None:
    rung: list[dict[int, str]] = []
    monkeypatch.setattr(jobs, "ring", rung.append)
    claimed = jobs.claim(job(attempts=2).pk)
    assert claimed is not None
    Job.objects.update(again=True)
    assert jobs._settle(claimed, state, None) == "waiting"
    after = Job.objects.get()
    assert (after.state, after.again, after.owner, after.attempts, after.done_at) == ("waiting", False, "", 0, None)
    assert rung == [{claimed.pk: claimed.kind}]


@pytest.mark.django_db
@pytest.mark.parametrize("state", ["waiting", "done", "failed"])
def test_what_runs_no_more_is_neither_settled_nor_put_back(state: str) -> None:
    claimed = jobs.claim(job().pk)
    assert claimed is not None
    Job.objects.update(state=state)
    there = Job.objects.values().get()
    jobs._settle(claimed, "done", None)
    jobs._put_back(claimed)
    assert Job.objects.values().get() == there


@pytest.mark.django_db
def test_what_another_worker_holds_is_not_settled_nor_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    given_up: list[int] = []
    monkeypatch.setitem(jobs.GIVEN_UP, "proof", lambda job: given_up.append(job.pk))
    claimed = jobs.claim(job().pk)
    assert claimed is not None
    Job.objects.update(owner="another/2/2", again=True)
    jobs._settle(claimed, "failed", None)
    jobs._put_back(claimed)
    after = Job.objects.get()
    assert (after.state, after.owner, after.again, given_up) == ("running", "another/2/2", True, [])


@pytest.mark.django_db
@pytest.mark.parametrize(("attempts", "state"), [(0, "waiting"), (-2, "waiting"), (-1, "failed")])
def test_a_piece_whose_worker_is_gone_is_put_back_until_it_happened_too_often(
    settings: Any, monkeypatch: pytest.MonkeyPatch, attempts: int, state: str
) -> None:
    given_up: list[int] = []
    monkeypatch.setitem(jobs.GIVEN_UP, "proof", lambda job: given_up.append(job.pk))
    before = attempts if attempts >= 0 else settings.JOB_ATTEMPTS + attempts
    made = job("running", attempts=before, owner="x/1/1", lease_until=ago(60), rung_at=ago(90))
    other = job("running", owner="x/1/1", lease_until=ago(60))
    jobs._put_back(made)
    made.refresh_from_db()
    other.refresh_from_db()
    assert (made.state, made.attempts, made.owner, made.lease_until, made.rung_at) == (
        state,
        before + 1,
        "",
        None,
        None,
    )
    assert bool(made.reason) is (state == "failed") is bool(given_up)
    assert other.state == "running"


@pytest.mark.django_db
def test_a_lease_that_was_renewed_meanwhile_is_left_alone() -> None:
    made = job("running", owner="x/1/1", lease_until=ago(60))
    Job.objects.update(lease_until=ago(-60))
    jobs._put_back(made)
    assert Job.objects.get().state == "running"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("bells", "rung"),
    [(0, {"never", "long ago", "lapsed", "no lease", "dead"}), (3, {"never", "lapsed", "no lease", "dead"}),
     (-1, {"never", "lapsed", "no lease", "dead"})],
)  # fmt: skip
def test_the_sweep_rings_for_what_waits_unheard_and_for_what_hangs(
    monkeypatch: pytest.MonkeyPatch, bells: int, rung: set[str]
) -> None:
    me, dead = jobs.owner_name(), f"{socket.gethostname()}/{2**22 + 1}/1"
    rows = {
        "never": job(), "long ago": job(rung_at=ago(3600)), "just now": job(rung_at=ago(0)),
        "held back": job(not_before=ago(-600)), "done": job("done"), "failed": job("failed"),
        "lapsed": job("running", owner="x/1/1", lease_until=ago(60)), "no lease": job("running", owner="x/1/1"),
        "dead": job("running", owner=dead, lease_until=ago(-600)),
        "alive": job("running", owner=me, lease_until=ago(-600)),
        "elsewhere": job("running", owner="x/1/1", lease_until=ago(-600)),
    }  # fmt: skip
    heard: list[dict[int, str]] = []
    monkeypatch.setattr(jobs, "ring", heard.append)
    monkeypatch.setattr(jobs, "bells", lambda: bells)
    assert jobs.sweep() == len(rung)
    assert heard == [{row.pk: row.kind for name, row in rows.items() if name in rung}]


@pytest.mark.django_db
def test_work_done_here_is_of_the_sitting_and_the_kinds_asked_for(
    sitting: Sitting, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[int] = []
    for kind in ("proof", "sort"):
        monkeypatch.setitem(jobs.KINDS, kind, done.append)
    job(thing=1, sitting=sitting)
    job(thing=2, sitting=sitting, kind="sort")
    job(thing=3, sitting=make_cast("beside").sitting)
    job(thing=4, sitting=sitting, not_before=ago(-600))
    assert jobs.run_waiting(sitting, ["proof"]) == 1
    assert done == [1]
    assert jobs.run_waiting(sitting) == 1
    assert jobs.run_waiting() == 1
    assert done == [1, 2, 3]


@pytest.mark.django_db
def test_without_the_table_of_what_does_the_work_nothing_is_touched(monkeypatch: pytest.MonkeyPatch) -> None:
    made = job()
    monkeypatch.setattr(jobs, "KINDS", {})
    for act in (lambda: jobs.work(made.pk), jobs.sweep):
        with pytest.raises(LookupError, match=r"galleries\.tasks"):
            act()
    assert Job.objects.get().state == "waiting"


@pytest.mark.parametrize(("kind", "seconds"), [("proof", 300), ("delivery", 3600), ("letter", 180), ("no such", 900)])
def test_the_longest_a_piece_may_take(kind: str, seconds: int) -> None:
    assert jobs.seconds(kind) == seconds
