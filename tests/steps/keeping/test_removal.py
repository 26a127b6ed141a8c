"""What the clock removes: nothing before its day, nothing before a letter went in time, and then all of it, once."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from galleries import storage
from galleries.models import JournalLine, Letter, Sitting, Verb
from galleries.steps import jobs
from galleries.steps.keeping import erase, retention, upkeep
from galleries.steps.people import posting, removal_letter
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _always_letter_hours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(posting, "is_quiet", lambda *_args: False)


class Clock:
    """Rounds of the upkeep at days counted from the one on which the sitting's time is over."""

    def __init__(self, cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
        self.day, self.monkeypatch = date(2031, 3, 1), monkeypatch
        self.noon = datetime(2031, 3, 1, 12, tzinfo=timezone.get_default_timezone())
        retention.keep_until(cast.sitting, cast.as_owner, self.day)

    def round(self, day: int, *, send: bool = True) -> None:
        now = self.noon + timedelta(days=day)
        self.monkeypatch.setattr(timezone, "now", lambda: now)
        upkeep.run()
        if send:
            jobs.run_waiting(kinds=["letter"])


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    storage.put(storage.private(), cast.frame(1).key, b"camera file")
    return cast


@pytest.fixture
def clock(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(cast, monkeypatch)


def test_a_letter_goes_so_many_days_before_and_then_all_of_it_goes_once(
    cast: Cast, clock: Clock, mailoutbox: Any
) -> None:
    uid = cast.sitting.uid
    clock.round(-15)
    assert not mailoutbox
    for day in (-14, -14, -13, -1, 0):
        clock.round(day)
    (letter,) = mailoutbox
    assert letter.to == [cast.owner.email]
    assert "1 March 2031" in letter.body
    assert "2 March 2031" in letter.body  # the first day on which it may go
    assert f"/studio/{cast.sitting.slug}/settings" in letter.body
    assert JournalLine.objects.filter(verb=Verb.REMOVAL_ANNOUNCED, after="2031-03-01").count() == 1
    assert Sitting.objects.filter(pk=cast.sitting.pk).exists()
    clock.round(1)
    clock.round(2)
    assert not Sitting.objects.filter(pk=cast.sitting.pk).exists()
    assert erase.scan(uid) == ()
    begun, done = JournalLine.objects.filter(sitting_slug=uid.hex)
    assert (begun.verb, done.verb, begun.who) == (Verb.ERASURE_BEGUN, Verb.ERASED, "the program")
    assert begun.detail["until"] == "2031-03-01"
    assert len(mailoutbox) == 1


def test_nothing_goes_while_the_letter_has_not_gone_nor_before_its_days_are_over(cast: Cast, clock: Clock) -> None:
    clock.round(-14, send=False)
    clock.round(40, send=False)
    assert Sitting.objects.exists()
    clock.round(41)  # the mail server is back: from now on the days count
    clock.round(54)
    assert Sitting.objects.exists()
    clock.round(56)
    assert not Sitting.objects.exists()


def test_another_day_set_meanwhile_keeps_it_and_has_a_letter_of_its_own(
    cast: Cast, clock: Clock, mailoutbox: Any
) -> None:
    clock.round(-10)
    retention.keep_until(cast.sitting, cast.as_owner, clock.day + timedelta(days=100))
    clock.round(30)
    assert Sitting.objects.exists()
    clock.round(95)
    clock.round(101)
    assert Sitting.objects.exists()  # the second letter went six days ago
    assert len(mailoutbox) == 2
    retention.keep_until(cast.sitting, cast.as_owner, None)
    clock.round(500)
    assert Sitting.objects.exists()


def test_a_letter_about_a_day_that_is_no_more_does_not_go(cast: Cast, clock: Clock, mailoutbox: Any) -> None:
    clock.round(-10, send=False)
    retention.keep_until(cast.sitting, cast.as_owner, None)
    jobs.run_waiting(kinds=["letter"])
    retention.keep_until(cast.sitting, cast.as_owner, clock.day + timedelta(days=9))
    clock.round(0)
    assert len(mailoutbox) == 1
    assert Letter.objects.filter(kind=removal_letter.KIND).count() == 1


def test_a_day_set_at_the_same_moment_wins(cast: Cast, clock: Clock) -> None:
    stale = Sitting.objects.get()
    retention.keep_until(cast.sitting, cast.as_owner, None)
    assert erase.erase_by_the_clock(stale) is None
    assert Sitting.objects.exists()
    assert storage.private().exists(cast.sitting.frames.get().key)


def test_without_an_address_to_tell_nothing_is_removed(cast: Cast, clock: Clock) -> None:
    cast.owner.email = ""
    cast.owner.save()
    for day in (-14, 1, 300):
        clock.round(day)
    assert Sitting.objects.exists()


def test_it_waits_for_a_copy_that_its_subject_may_still_fetch(cast: Cast, clock: Clock) -> None:
    cast.sitting.own_copies.create(invite=cast.subject, state="ready", expires_at=clock.noon + timedelta(days=10))
    for day in (-14, 5, 9):
        clock.round(day)
    assert Sitting.objects.exists()
    clock.round(11)
    assert not Sitting.objects.exists()


def test_a_worker_killed_while_it_sends_leaves_the_letter_unsent_and_it_goes_again(
    cast: Cast, clock: Clock, monkeypatch: pytest.MonkeyPatch, mailoutbox: Any
) -> None:
    """Other letters are lost then, rather than sent twice; on this one hangs that a sitting is removed."""
    real = posting.message

    def killed(letter: Letter, link: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(posting, "message", killed)
    with pytest.raises(KeyboardInterrupt):
        clock.round(-14)
    assert Letter.objects.get(kind=removal_letter.KIND).sent_at is None
    monkeypatch.setattr(posting, "message", real)
    posting.send(Letter.objects.get(kind=removal_letter.KIND).pk)
    assert len(mailoutbox) == 1
