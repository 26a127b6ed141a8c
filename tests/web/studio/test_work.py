"""What waits, what failed and why, and 'try again' for the photographer."""

from __future__ import annotations

import pytest
from botocore.exceptions import EndpointConnectionError
from django.test import Client
from django.urls import reverse

from galleries.models import Delivery, Job, JournalLine
from galleries.steps import jobs
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
INSIDE = "http://10.1.2.3:9000/originals"


def away(_thing: int) -> None:
    raise EndpointConnectionError(endpoint_url=INSIDE)


def broken(_thing: int) -> None:
    raise RuntimeError(f"nobody answered at {INSIDE}")


@pytest.fixture
def desk(cast: Cast, client: Client) -> Client:
    client.force_login(cast.owner)
    return client


def page(desk: Client, cast: Cast) -> str:
    answer = desk.get(reverse("studio-work", args=[cast.sitting.slug]))
    assert answer.status_code == 200
    return answer.content.decode()


def again(desk: Client, cast: Cast, **said: str) -> int:
    return desk.post(reverse("studio-work-again", args=[cast.sitting.slug]), said).status_code


def test_what_is_out_of_reach_waits_says_so_and_can_be_tried_at_once(
    cast: Cast, desk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = cast.frame(1)
    monkeypatch.setitem(jobs.KINDS, "proof", away)
    job = jobs.enqueue("proof", frame.pk, cast.sitting, recipe="p")
    jobs.work(job.pk)
    shown = page(desk, cast)
    assert "cannot be reached at the moment" in shown
    assert "Next try at" in shown
    assert "10.1.2.3" not in shown
    overview = desk.get(reverse("studio-sitting", args=[cast.sitting.slug])).content.decode()
    assert "will try 1 piece of work again by itself" in overview
    done = []
    monkeypatch.setitem(jobs.KINDS, "proof", done.append)
    assert jobs.run_waiting() == 0
    assert again(desk, cast) == 302
    assert jobs.run_waiting() == 1
    assert done == [frame.pk]
    assert "Nothing waits." in page(desk, cast)


def test_what_failed_is_named_with_its_reason_and_done_when_it_is_tried_again(
    cast: Cast, desk: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(jobs.KINDS, "proof", broken)
    frames = [cast.frame(n) for n in (1, 2)]
    one, two = (jobs.enqueue("proof", frame.pk, cast.sitting, recipe="p") for frame in frames)
    jobs.run_waiting()
    assert set(Job.objects.filter(kind="proof").values_list("state", flat=True)) == {"failed"}
    shown = page(desk, cast)
    assert "RuntimeError" in shown
    assert "10.1.2.3" not in shown
    assert f"Try again: Stamped proof {frames[0].label}" in shown
    monkeypatch.setitem(jobs.KINDS, "proof", lambda _thing: None)
    assert again(desk, cast, job=str(one.pk)) == 302
    jobs.run_waiting()
    assert [Job.objects.get(pk=job.pk).state for job in (one, two)] == ["done", "failed"]
    assert JournalLine.objects.filter(verb="work asked for again").count() == 1
    assert again(desk, cast, job="nonsense") == 400


def test_a_failed_delivery_is_made_after_all(cast: Cast, desk: Client) -> None:
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    delivery = cast.sitting.deliveries.create(number=1, licence=licence, sizes={}, state=Delivery.State.FAILED)
    job = Job.objects.create(sitting=cast.sitting, kind="delivery", thing=delivery.pk, state="failed", reason="x")
    assert again(desk, cast, job=str(job.pk)) == 302
    delivery.refresh_from_db()
    job.refresh_from_db()
    assert (delivery.state, job.state) == ("waiting", "waiting")


def test_somebody_elses_work_is_nobodys_to_ask_for(cast: Cast, client: Client) -> None:
    other = make_cast(slug="another")
    job = Job.objects.create(sitting=cast.sitting, kind="proof", thing=1, state="failed")
    client.force_login(other.owner)
    assert client.post(reverse("studio-work-again", args=[cast.sitting.slug])).status_code == 404
    assert again(client, other, job=str(job.pk)) == 302  # a piece of another sitting is no piece of theirs
    job.refresh_from_db()
    assert job.state == "failed"
