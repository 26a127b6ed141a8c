"""Several people and devices at the same moment, on real connections. Run on SQLite here, and by
test_postgresql.py on PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import timedelta

import pytest
from django.db import connection
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import Refused
from galleries.models import Job, JournalLine, Mark, UsageRequest
from galleries.steps import jobs
from galleries.steps.delivering import usage
from galleries.steps.people import caps
from galleries.steps.picking import pick
from tests.cast import make_cast

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


def at_once(acts: Sequence[Callable[[], object]]) -> list[object]:
    """Do all of these in threads that start together; their results, an exception as itself."""
    gate = threading.Barrier(len(acts))
    results: list[object] = [None] * len(acts)

    def run(place: int) -> None:
        try:
            gate.wait(20)
            results[place] = acts[place]()
        except BaseException as error:  # noqa: BLE001 - the test looks at it
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(place,)) for place in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    return results


def test_two_people_marking_the_same_frames_do_not_disturb_each_other() -> None:
    cast = make_cast()
    frames = [cast.frame(number, cast.look()) for number in range(1, 13)]

    def marks(who: Visitor, kind: str) -> Callable[[], object]:
        return lambda: [pick.set_mark(who, frame.pk, kind=kind, note=f"{kind} {frame.number}") for frame in frames]

    results = at_once([marks(cast.as_subject, "pick"), marks(cast.as_representation, "strike")])
    assert [error for error in results if isinstance(error, BaseException)] == []
    for invite, kind in ((cast.subject, "pick"), (cast.representation, "strike")):
        found = list(Mark.objects.filter(invite=invite).order_by("frame").values_list("frame", "kind", "note"))
        assert found == [(frame.pk, kind, f"{kind} {frame.number}") for frame in frames]
    assert JournalLine.objects.filter(verb="marked").count() == 2 * len(frames)


@pytest.mark.parametrize("turn", range(3))
def test_of_one_person_s_devices_the_later_intent_wins_in_whatever_order_they_arrive(turn: int) -> None:
    cast = make_cast()
    frame = cast.frame(1, cast.look())
    start = timezone.now() - timedelta(minutes=5)
    kinds = ["pick", "alternate", "strike", "pick", "", "alternate"]

    def act(place: int) -> Callable[[], object]:
        return lambda: pick.set_mark(
            cast.as_subject,
            frame.pk,
            kind=kinds[place],
            act=f"device-{place}",
            acted_at=start + timedelta(seconds=place),
        )

    order = [(place * 5 + turn) % len(kinds) for place in range(len(kinds))]
    results = at_once([act(place) for place in order])
    assert [error for error in results if isinstance(error, BaseException)] == []
    mark = Mark.objects.get(invite=cast.subject, frame=frame)
    assert mark.kind == kinds[-1]


def test_the_same_act_sent_by_many_retries_counts_once() -> None:
    cast = make_cast()
    frame = cast.frame(1, cast.look())
    results = at_once([lambda: pick.set_mark(cast.as_subject, frame.pk, kind="pick", act="one-act")] * 6)
    assert [error for error in results if isinstance(error, BaseException)] == []
    assert Mark.objects.get(invite=cast.subject).revision == 1
    assert JournalLine.objects.filter(verb="marked").count() == 1


def test_who_asks_many_times_at_once_asks_no_more_than_a_day_allows() -> None:
    """Counted before the lock, all of them were as many as there were before any of them."""
    cast = make_cast(stage="finishing")
    results = at_once([lambda: usage.ask(cast.sitting, cast.as_representation, "poster") for _ in range(12)])
    refused = [result for result in results if isinstance(result, Refused)]
    assert len(refused) == 12 - caps.USES_A_DAY
    assert UsageRequest.objects.count() == caps.USES_A_DAY


def test_a_job_is_claimed_by_one_worker_only() -> None:
    cast = make_cast()
    job = Job.objects.create(kind="proof", thing=1, sitting=cast.sitting)
    results = at_once([lambda: jobs.claim(job.pk)] * 8)
    assert [error for error in results if isinstance(error, BaseException)] == []
    assert len([taken for taken in results if taken is not None]) == 1
