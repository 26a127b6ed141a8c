"""Several people and devices at the same moment, on real connections. Run on SQLite here, and by
test_postgresql.py on PostgreSQL."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import partial

import pytest
from django.db import connection
from django.utils import timezone

from galleries.access import Visitor
from galleries.errors import Conflict, Missing, PriceChanged, Refused
from galleries.models import Invite, Job, JournalLine, Mark, Sitting, Statement, UsageRequest
from galleries.steps import jobs
from galleries.steps.agreeing import agree, extras
from galleries.steps.delivering import usage
from galleries.steps.people import caps
from galleries.steps.picking import mark_rows, pick
from tests.cast import Cast, make_cast

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


class Paused:
    """A person's mark that stops when it is written, before it is counted, until it is let go on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, voice: Invite) -> None:
        self.there, self.on = threading.Event(), threading.Event()
        write = mark_rows.write

        def stop(marks: Sequence[Mark]) -> None:
            write(marks)
            if marks[0].invite_id == voice.pk and not self.there.is_set():
                self.there.set()
                assert self.on.wait(30)

        monkeypatch.setattr(mark_rows, "write", stop)


def test_a_mark_waits_for_nobody_else_s(monkeypatch: pytest.MonkeyPatch) -> None:
    if connection.vendor == "sqlite":
        return  # one writer at a time, whoever it is: `test_postgresql.py` runs this where there are many
    cast = make_cast()
    frame = cast.frame(1, cast.look())
    paused = Paused(monkeypatch, cast.subject)

    def others() -> list[str]:
        assert paused.there.wait(30)
        kinds = [pick.set_mark(cast.as_representation, frame.pk, kind=kind).kind for kind in ("pick", "strike")]
        paused.on.set()
        return kinds

    results = at_once([lambda: pick.set_mark(cast.as_subject, frame.pk, kind="alternate").kind, others])
    assert results == ["alternate", ["pick", "strike"]]
    assert JournalLine.objects.filter(verb="marked").count() == 3


@pytest.mark.parametrize("closing", ["the list is closed", "the subject is marked as a minor"])
def test_what_closes_in_the_middle_of_a_mark_holds(monkeypatch: pytest.MonkeyPatch, closing: str) -> None:
    if connection.vendor == "sqlite":
        return
    cast = make_cast()
    frame = cast.frame(1, cast.look())
    paused = Paused(monkeypatch, cast.subject)

    def close() -> None:
        assert paused.there.wait(30)
        if closing == "the list is closed":
            agree.close(cast.sitting, [frame.pk], cast.as_representation)
        else:
            Sitting.objects.filter(pk=cast.sitting.pk).update(subject_is_minor=True)
        paused.on.set()

    mark, closed = at_once([lambda: pick.set_mark(cast.as_subject, frame.pk, kind="pick"), close])
    assert (type(mark), closed) == (Refused if "list" in closing else Missing, None)
    assert not Mark.objects.exists()
    assert not JournalLine.objects.filter(verb="marked").exists()


def test_a_stage_that_moves_on_and_still_lets_people_mark_loses_no_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    if connection.vendor == "sqlite":
        return
    cast = make_cast(stage="proofing")
    frame = cast.frame(1, cast.look())
    paused = Paused(monkeypatch, cast.representation)

    def through() -> None:
        assert paused.there.wait(30)
        pick.say_done(cast.as_subject, cast.sitting)
        paused.on.set()

    mark, _none = at_once([lambda: pick.set_mark(cast.as_representation, frame.pk, kind="pick").kind, through])
    assert mark == "pick"
    assert Mark.objects.get().revision == 1
    assert JournalLine.objects.filter(verb="marked").count() == 1


def test_of_many_marks_around_the_closing_none_is_lost_and_none_comes_after_it() -> None:
    cast = make_cast()
    frames = [cast.frame(number, cast.look()) for number in range(1, 9)]
    people = [cast.as_subject, cast.as_representation]
    people += [
        Visitor(invite=Invite.objects.create(
            sitting=cast.sitting, role=Invite.Role.REPRESENTATION, name=f"Agent {n}", email=f"{n}@agency.example",
            expires_at=timezone.now() + timedelta(days=3),
        ))
        for n in range(4)
    ]  # fmt: skip
    begun = threading.Barrier(len(people) + 1)

    def mark(who: Visitor) -> list[int]:
        """Frames whose mark was acknowledged."""
        stored: list[int] = []
        for place, frame in enumerate(frames):
            if place == 2:
                begun.wait(30)
            try:
                pick.set_mark(who, frame.pk, kind="pick")
            except Refused:
                continue
            stored.append(frame.pk)
        return stored

    def close() -> list[int]:
        begun.wait(30)
        agree.close(cast.sitting, [frames[0].pk], cast.as_representation)
        return []

    results = at_once([*(partial(mark, who) for who in people), close])
    assert [error for error in results if isinstance(error, BaseException)] == []
    for who, stored in zip(people, results, strict=False):
        assert who.invite is not None
        kept = Mark.objects.filter(invite=who.invite).order_by("frame").values_list("frame", flat=True)
        assert list(kept) == stored
    lines = list(JournalLine.objects.filter(verb__in=["marked", "list closed"]).values_list("verb", flat=True))
    assert lines == ["marked"] * Mark.objects.count() + ["list closed"]


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
    results = at_once([lambda n=n: usage.ask(cast.sitting, cast.as_representation, f"wall {n}") for n in range(12)])
    refused = [result for result in results if isinstance(result, Refused)]
    assert len(refused) == 12 - caps.USES_A_DAY
    assert UsageRequest.objects.count() == caps.USES_A_DAY


def test_the_same_use_asked_for_many_times_at_once_is_one_question() -> None:
    cast = make_cast(stage="finishing")
    results = at_once([lambda: usage.ask(cast.sitting, cast.as_representation, "poster")] * 6)
    assert sum(isinstance(result, Conflict) for result in results) == 5
    assert UsageRequest.objects.count() == 1


def test_a_job_is_claimed_by_one_worker_only() -> None:
    cast = make_cast()
    job = Job.objects.create(kind="proof", thing=1, sitting=cast.sitting)
    results = at_once([lambda: jobs.claim(job.pk)] * 8)
    assert [error for error in results if isinstance(error, BaseException)] == []
    assert len([taken for taken in results if taken is not None]) == 1


@pytest.mark.parametrize("turn", range(3))
def test_a_price_that_changes_as_a_list_is_closed_is_not_the_one_that_is_owed(turn: int) -> None:
    """Whoever closes owes what they saw, or is asked again: never a third thing."""
    cast = make_cast()
    frames = [cast.frame(number).pk for number in range(1, 6)]
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR")
    seen = extras.quote(cast.sitting).token
    acts = [
        lambda: agree.close(cast.sitting, frames, cast.as_representation, seen),
        lambda: extras.set_own(cast.sitting, cast.as_owner, "own", unit=9900, currency="EUR"),
    ]
    results = at_once(acts if turn % 2 else acts[::-1])
    broken = [error for error in results if isinstance(error, BaseException) and not isinstance(error, PriceChanged)]
    assert broken == []
    statement = cast.sitting.statements.first()
    if statement is None:
        assert any(isinstance(error, PriceChanged) for error in results)
        assert not cast.sitting.finals.exists()
    else:
        assert statement.sheet.price.unit == 4000


def test_lists_closed_at_once_get_numbers_without_a_gap() -> None:
    casts = [make_cast(f"sitting-{number}") for number in range(4)]
    for cast in casts:
        extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR")

    def close(cast: Cast) -> Callable[[], object]:
        frames = [cast.frame(number).pk for number in range(1, 6)]
        token = extras.quote(cast.sitting).token
        return lambda: agree.close(cast.sitting, frames, cast.as_representation, token)

    results = at_once([close(cast) for cast in casts])
    assert [error for error in results if isinstance(error, BaseException)] == []
    assert sorted(Statement.objects.values_list("number", flat=True)) == [1, 2, 3, 4]
