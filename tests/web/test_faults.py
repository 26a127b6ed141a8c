"""What breaks in the middle of a page: a page of the house that says what is known, and never a bare line."""

from __future__ import annotations

import errno
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from typing import Any

import psycopg.errors
import pytest
from botocore.exceptions import EndpointConnectionError
from django.conf import settings as configured
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from galleries.models import Job, Studio
from galleries.probing import Probe, answers
from galleries.steps import jobs, setbacks
from galleries.web import health
from galleries.words.steps import Code
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


def full_table() -> OperationalError:
    """What SQLite itself says on a disk with no page left, wrapped as the framework does."""
    with closing(sqlite3.connect(":memory:")) as tables:
        tables.execute("CREATE TABLE t (x)")
        tables.execute("PRAGMA max_page_count = 2")
        try:
            tables.execute("INSERT INTO t VALUES (zeroblob(100000))")
        except sqlite3.OperationalError as cause:
            error = OperationalError(str(cause))
            error.__cause__ = cause
            return error
    raise AssertionError("the table was not full")


def full_server() -> OperationalError:
    """PostgreSQL's disk_full (its documentation, appendix A: class 53, 53100)."""
    error = OperationalError("could not extend file")
    error.__cause__ = psycopg.errors.DiskFull()
    return error


FULL: dict[str, Callable[[], Exception]] = {
    "disk": lambda: OSError(errno.ENOSPC, "No space left on device"),
    "quota": lambda: OSError(errno.EDQUOT, "Disk quota exceeded"),
    "SQLite": full_table,
    "PostgreSQL": full_server,
}


@pytest.mark.parametrize("what", FULL)
def test_a_full_disk_is_known_whoever_says_so(what: str) -> None:
    said = setbacks.passing(FULL[what]())
    assert said is not None
    assert said.code == Code.DISK_FULL


def broken(monkeypatch: pytest.MonkeyPatch, error: Exception, *, json: bool = False) -> Any:
    """The photographer's front, whose first question fails so."""
    cast = make_cast()
    client = cast.client_of(cast.owner)
    client.raise_request_exception = False

    def fail(*_args: object) -> None:
        raise error

    monkeypatch.setattr(Studio, "current", fail)
    return client.get("/studio/", headers={"accept": "application/json"} if json else {})


@pytest.mark.parametrize("what", FULL)
def test_a_full_disk_is_said_in_a_page_of_the_house(monkeypatch: pytest.MonkeyPatch, what: str) -> None:
    answer = broken(monkeypatch, FULL[what]())
    assert answer.status_code == 507  # RFC 4918, 11.5
    page = answer.content.decode()
    assert "disk is full" in page
    assert "galleries/css/base" in page
    assert "No space left" not in page


def test_what_is_out_of_reach_may_be_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = broken(monkeypatch, EndpointConnectionError(endpoint_url="http://10.1.2.3:9000/private"))
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "60")  # RFC 9110, 10.2.3
    assert "10.1.2.3" not in answer.content.decode()


def test_any_other_fault_is_the_sites_own_and_tells_nothing_of_the_inside(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = broken(monkeypatch, RuntimeError("/srv/portal/secret"))
    page = answer.content.decode()
    assert answer.status_code == 500
    assert "not yours" in page
    assert "secret" not in page


def test_scripts_get_the_sentence_as_json(monkeypatch: pytest.MonkeyPatch) -> None:
    answer = broken(monkeypatch, FULL["disk"](), json=True)
    assert answer.status_code == 507
    assert "disk is full" in answer.json()["error"]


def test_a_fault_is_said_in_the_readers_language(monkeypatch: pytest.MonkeyPatch) -> None:
    client = Client(raise_request_exception=False, headers={"accept-language": "de"})

    def fail() -> None:
        raise RuntimeError

    monkeypatch.setattr(Studio, "current", fail)
    assert "Hier ist etwas kaputtgegangen" in client.get("/sign-in").content.decode()


def test_an_address_of_nothing_is_a_page_of_the_house() -> None:
    answer = Client().get("/no/such/place")
    assert answer.status_code == 404
    assert "There is no page at this address." in answer.content.decode()
    assert answer.templates[0].name == "galleries/error.html"


def test_a_form_without_its_token_says_what_to_do() -> None:
    answer = Client(enforce_csrf_checks=True).post("/sign-in", {"email": "a@b.example"})
    assert answer.status_code == 403
    assert "open for too long" in answer.content.decode()


# --- readiness ---


@pytest.fixture
def ready(client: Client, monkeypatch: pytest.MonkeyPatch) -> Callable[[], tuple[int, dict[str, bool]]]:
    monkeypatch.setattr(health, "PROBES", {**health.PROBES, "queue": Probe("queue", lambda: True)})

    def ask() -> tuple[int, dict[str, bool]]:
        answer = client.get("/health/ready")
        return answer.status_code, answer.json()

    return ask


NAMES = ("database", "queue", "private", "proofs", "disk", "work")


def test_all_well(ready: Callable[[], tuple[int, dict[str, bool]]]) -> None:
    assert ready() == (200, dict.fromkeys(NAMES, True))


def test_a_disk_nearly_full_is_named_before_it_is(ready: Any, settings: Any) -> None:
    settings.DISK_SPARE = 1 << 62
    assert ready() == (503, {**dict.fromkeys(NAMES, True), "disk": False})


def test_a_store_that_hangs_holds_nobody_and_is_asked_once(
    ready: Any, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    let_go, asked = threading.Event(), []

    def hang() -> bool:
        asked.append(1)
        return let_go.wait(60)

    monkeypatch.setattr(health, "SECONDS", 0.05)
    monkeypatch.setitem(health.PROBES, "private", Probe("the private store", hang))
    assert [ready()[1]["private"] for _ in range(3)] == [False] * 3
    assert client.get("/health/live").status_code == 200
    assert asked == [1]
    let_go.set()
    probes = {"private": health.PROBES["private"]}
    assert answers(probes, 10) == {"private": True}


def test_a_store_that_refuses_is_named(ready: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> bool:
        raise EndpointConnectionError(endpoint_url="http://store.example")

    monkeypatch.setitem(health.PROBES, "proofs", Probe("the store of proofs", refuse))
    assert ready() == (503, {**dict.fromkeys(NAMES, True), "proofs": False})


def waiting(minutes: int, **more: Any) -> None:
    job = Job.objects.create(kind="proof", thing=Job.objects.count() + 1, **more)
    Job.objects.filter(pk=job.pk).update(created_at=timezone.now() - timedelta(minutes=minutes))


LATE = configured.WORK_LATE_SECONDS // 60 + 1
CASES: dict[str, tuple[list[dict[str, Any]], bool]] = {
    "nothing waits": ([], False),
    "it waits since just now": ([{"minutes": 0}], False),
    "it waits, unheard": ([{"minutes": LATE}], True),
    "it was rung for long ago": ([{"minutes": 2 * LATE, "rung": LATE}], True),
    "it was asked for anew just now": ([{"minutes": 2 * LATE, "rung": 0}], False),
    "it is held back after a setback": ([{"minutes": LATE, "held": 5}], False),
    "others are being done": ([{"minutes": LATE}, {"minutes": 1, "state": "done", "done": 1}], False),
    "others were done long ago": ([{"minutes": LATE}, {"minutes": 1, "state": "done", "done": LATE}], True),
    "a long one is in hand": ([{"minutes": LATE}, {"minutes": LATE, "state": "running", "lease": -1}], False),
    "its worker is gone": ([{"minutes": LATE}, {"minutes": LATE, "state": "running", "lease": 1}], True),
}


@pytest.mark.parametrize("case", CASES)
def test_silent_workers_are_told_from_busy_ones(ready: Any, case: str) -> None:
    rows, silent = CASES[case]

    def ago(minutes: int | None) -> Any:
        return None if minutes is None else timezone.now() - timedelta(minutes=minutes)

    for row in rows:
        waiting(
            row["minutes"],
            state=row.get("state", "waiting"),
            rung_at=ago(row.get("rung")),
            done_at=ago(row.get("done")),
            lease_until=ago(row.get("lease")),
            not_before=ago(-row["held"]) if "held" in row else None,
        )
    assert jobs.silent(configured.WORK_LATE_SECONDS) is silent
    assert ready()[1]["work"] is not silent
