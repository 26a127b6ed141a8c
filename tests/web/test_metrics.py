"""`/metrics` against an independent reader of the OpenMetrics text format (prometheus-client's own parser), and who may
ask."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from galleries.models import Job
from tests.cast import make_cast

pytestmark = pytest.mark.django_db
TOKEN = "numbers-for-the-monitor-only"
OPENMETRICS = "application/openmetrics-text; version=1.0.0"


def asked(client: Client, token: str | None = TOKEN, **headers: str) -> Any:
    sent = {"accept": OPENMETRICS, **headers}
    if token is not None:
        sent["authorization"] = f"Bearer {token}"
    return client.get("/metrics", headers=sent)


@pytest.fixture
def numbers(settings: Any) -> Any:
    settings.METRICS_TOKEN = TOKEN

    def read() -> dict[tuple[str, frozenset[tuple[str, str]]], float]:
        answer = asked(Client())
        assert answer["Content-Type"].startswith("application/openmetrics-text")
        text = answer.content.decode()
        assert text.endswith("# EOF\n")  # OpenMetrics 1.0, "Overall structure"
        families = list(text_string_to_metric_families(text))
        assert {family.type for family in families} == {"gauge"}
        return {(one.name, frozenset(one.labels.items())): one.value for family in families for one in family.samples}

    return read


def at(name: str, **labels: str) -> tuple[str, frozenset[tuple[str, str]]]:
    return name, frozenset(labels.items())


def test_what_waits_and_what_failed_is_counted(numbers: Any) -> None:
    cast = make_cast()
    cast.frame(1)
    for thing, state in enumerate(("waiting", "waiting", "failed", "done")):
        Job.objects.create(kind="proof", thing=thing, state=state, sitting=cast.sitting)
    Job.objects.filter(thing=1).update(created_at=timezone.now() - timedelta(minutes=10))
    Job.objects.create(kind="letter", thing=1, not_before=timezone.now() + timedelta(hours=1))
    Job.objects.filter(kind="letter").update(created_at=timezone.now() - timedelta(days=1))  # held back: not due
    seen = numbers()
    assert seen[at("portal_work", kind="proof", state="waiting")] == 2
    assert seen[at("portal_work", kind="proof", state="failed")] == 1
    assert at("portal_work", kind="proof", state="done") not in seen
    assert 600 <= seen[at("portal_work_oldest_seconds")] < 3600
    assert seen[at("portal_sittings", stage=cast.sitting.stage)] == 1
    assert seen[at("portal_frames")] == 1
    assert seen[at("portal_disk_free_bytes", folder="site")] > 0
    assert seen[at("portal_queue_length")] >= 0


def test_an_idle_site_has_nothing_waiting(numbers: Any) -> None:
    seen = numbers()
    assert seen[at("portal_work_oldest_seconds")] == 0
    assert not [name for name, _labels in seen if name == "portal_work"]


def test_no_name_is_among_them(numbers: Any) -> None:
    cast = make_cast()
    text = asked(Client()).content.decode()
    for word in (cast.sitting.slug, cast.sitting.title, cast.subject.name, cast.owner.username, cast.subject.email):
        assert word not in text


@pytest.mark.parametrize("token", [None, "", "wrong", TOKEN[:-1], f"{TOKEN}x", "ü"])
def test_without_the_token_there_is_no_such_page(settings: Any, token: str | None) -> None:
    settings.METRICS_TOKEN = TOKEN
    cast = make_cast()
    for who in (None, cast.owner, cast.subject):
        client = Client() if who is None else cast.client_of(who)
        answer = asked(client, token)
        assert answer.status_code == 404
        assert b"portal_" not in answer.content


def test_where_no_token_is_set_nothing_opens_it(settings: Any) -> None:
    settings.METRICS_TOKEN = ""
    for token in (None, "", TOKEN):
        assert asked(Client(), token).status_code == 404


def test_an_older_monitor_gets_the_older_format(settings: Any) -> None:
    settings.METRICS_TOKEN = TOKEN
    assert asked(Client(), accept="text/plain")["Content-Type"].startswith("text/plain")
