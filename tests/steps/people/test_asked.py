"""Who is asked about a retouch, about which, and by when; and the letter before a sitting is removed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.utils import timezone

from galleries.models import Final, Frame, Invite, Letter, Sitting, Version
from galleries.steps.people import asked, letters, outbox, posting, removal_letter
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast(stage="finishing")
    Sitting.objects.update(representation_approves=True, answer_days=7)
    made.sitting.refresh_from_db()
    return made


def final_of(
    cast: Cast, number: int, *sent_at: datetime | None, state: str = "shown", frame: Frame | None = None
) -> Final:
    """A final with a version for each of these, let out then or not at all."""
    final = Final.objects.create(
        sitting=cast.sitting, frame=frame or cast.frame(number), round=cast.sitting.rounds.get(), state=state,
        position=number,
    )  # fmt: skip
    for at, sent in enumerate(sent_at, 1):
        final.versions.create(
            number=at, sha256=f"{number:032x}{at:032x}", key="k", name="n.jpg", bytes=1, width=9, height=9, sent_at=sent
        )
    return final


def kept_back(cast: Cast, how: str) -> Frame:
    """A frame that only the subject sees."""
    if how == "by itself":
        return cast.frame(50, kept_by_subject=True)
    return cast.frame(50, cast.look("Bare", kept_from_representation=True))


def names(people: list[Invite]) -> set[str]:
    return {person.name for person in people}


@pytest.mark.parametrize("approves", [True, False])
@pytest.mark.parametrize("shut", [None, "revoked", "expired"])
def test_the_representation_is_asked_where_the_sitting_says_so_and_one_holds(
    cast: Cast, approves: bool, shut: str | None
) -> None:
    Sitting.objects.update(representation_approves=approves)
    now = timezone.now()
    changes = {None: {}, "revoked": {"revoked_at": now}, "expired": {"expires_at": now}}[shut]
    Invite.objects.filter(pk=cast.representation.pk).update(may_pass_on=True, **changes)
    final_of(cast, 1, now)
    final = Final.objects.get()
    wanted = approves and shut is None
    assert asked.roles_asked(final) == (["subject", "representation"] if wanted else ["subject"])
    both = {"Ansa Veld", "Ruben Achterberg"} if wanted else {"Ansa Veld"}
    assert names(asked.approvers(final.sitting)) == both


@pytest.mark.parametrize("how", ["by itself", "by its look"])
def test_what_is_kept_back_is_the_subjects_alone_to_answer(cast: Cast, how: str) -> None:
    final = final_of(cast, 1, timezone.now(), frame=kept_back(cast, how))
    assert asked.roles_asked(final) == ["subject"]
    assert names(asked.approvers(cast.sitting)) == {"Ansa Veld"}
    assert asked.unanswered(cast.representation) == []
    assert [one.final for one in asked.unanswered(cast.subject)] == [final]
    open_one = final_of(cast, 2, timezone.now())
    assert names(asked.approvers(cast.sitting)) == {"Ansa Veld", "Ruben Achterberg"}
    assert [one.final for one in asked.unanswered(cast.representation)] == [open_one]


@pytest.mark.parametrize(
    ("state", "on_list"), [("returned", True), ("approved", True), ("as_it_is", True), ("shown", False)]
)
def test_nobody_is_asked_about_what_does_not_wait(cast: Cast, state: str, on_list: bool) -> None:
    Final.objects.filter(pk=final_of(cast, 1, timezone.now(), state=state).pk).update(on_list=on_list)
    assert asked.unanswered(cast.subject) == []
    assert names(asked.approvers(cast.sitting)) == {"Ansa Veld"}  # the subject hears of every batch


def test_the_newest_that_was_let_out_waits_for_each_side_by_itself(cast: Cast) -> None:
    now = timezone.now()
    second = final_of(cast, 2, now, now, None)
    first = final_of(cast, 1, now)
    final_of(cast, 3, None)
    waiting = asked.unanswered(cast.subject)
    assert [(one.final, one.number) for one in waiting] == [(first, 1), (second, 2)]
    newest = Version.objects.get(final=second, number=2)
    newest.approvals.create(sha256=newest.sha256, decision="approved", who="Ansa Veld", invite=cast.subject)
    earlier = Version.objects.get(final=second, number=1)
    earlier.approvals.create(sha256=earlier.sha256, decision="returned", who="Ruben", invite=cast.representation)
    assert [one.final for one in asked.unanswered(cast.subject)] == [first]
    assert [one.final for one in asked.unanswered(cast.representation)] == [first, second]


def test_a_word_of_the_other_sitting_answers_nothing_here(cast: Cast) -> None:
    other = make_cast("other", "finishing")
    final_of(cast, 1, timezone.now())
    final_of(other, 2, timezone.now())
    assert [one.final.sitting for one in asked.unanswered(cast.subject)] == [cast.sitting]
    assert names(asked.approvers(other.sitting)) == {"Ansa Veld"}


# The day is the sitting's: 23:30 in London on 30 June is 1 July in Tokyo (IANA time zones: +1 and +9 hours then).
@pytest.mark.parametrize(
    ("zone", "day"),
    [("Europe/London", date(2027, 7, 7)), ("Asia/Tokyo", date(2027, 7, 8)), ("America/New_York", date(2027, 7, 7))],
)
def test_the_day_is_counted_from_the_first_that_waits_by_the_sittings_clock(cast: Cast, zone: str, day: date) -> None:
    Sitting.objects.update(time_zone=zone)
    cast.sitting.refresh_from_db()
    out = datetime(2027, 6, 30, 22, 30, tzinfo=UTC)
    final_of(cast, 1, out + timedelta(days=3))
    final_of(cast, 2, out)
    final_of(cast, 3, None)
    versions = list(Version.objects.order_by("pk"))
    assert asked.answer_by(versions, cast.sitting) == day
    assert asked.answer_by(versions[:1], cast.sitting) == day + timedelta(days=3)
    assert asked.answer_by(versions[2:], cast.sitting) is None
    assert asked.answer_by([], cast.sitting) is None
    cast.sitting.answer_days = 0
    assert asked.answer_by(versions, cast.sitting) is None


def test_a_retouch_reminder_goes_to_no_one_an_invite_was_passed_on_to(cast: Cast) -> None:
    until = timezone.now() + timedelta(days=9)
    cast.sitting.invites.create(
        role="representation", name="Pia Sorn", email="pia@achterberg.example", expires_at=until,
        passed_from=cast.representation,
    )  # fmt: skip
    at = timezone.now().replace(hour=12)
    final_of(cast, 1, at)
    assert posting.send_due(at.date() + timedelta(days=6)) == 2
    assert set(Letter.objects.values_list("to", flat=True)) == {"ansa@veld.example", "ruben@achterberg.example"}


@pytest.mark.parametrize(
    ("stage", "letters_listed"), [("finishing", 2), ("delivered", 2), ("agreeing", 0), ("archived", 0)]
)
def test_a_retouch_reminder_goes_while_it_can_be_answered(cast: Cast, stage: str, letters_listed: int) -> None:
    at = timezone.now().replace(hour=12)
    final_of(cast, 1, at)
    Sitting.objects.update(stage=stage)
    assert posting.send_due(at.date() + timedelta(days=6)) == letters_listed


@pytest.mark.parametrize(("days_left", "step"), [(4, None), (3, 3), (2, 3), (1, 1), (0, 1), (-1, None)])
def test_which_reminder_is_due_up_to_the_day_itself(cast: Cast, days_left: int, step: int | None) -> None:
    wanted = date(2027, 3, 10)
    assert posting._step(cast.sitting, wanted, wanted - timedelta(days=days_left)) == step


# --- the letter before a sitting is removed ---

WROTE = datetime(2027, 6, 30, 22, 30, tzinfo=UTC)


def kept_until(cast: Cast, day: date | None, zone: str = "Europe/London") -> Sitting:
    Sitting.objects.filter(pk=cast.sitting.pk).update(keep_until=day, time_zone=zone)
    return Sitting.objects.get(pk=cast.sitting.pk)


@pytest.mark.parametrize(
    ("until", "zone", "goes_on"),
    [
        (None, "Europe/London", None),
        (date(2027, 6, 1), "Europe/London", date(2027, 7, 14)),  # long past: only after the days of notice
        (date(2027, 7, 12), "Europe/London", date(2027, 7, 14)),
        (date(2027, 7, 13), "Europe/London", date(2027, 7, 14)),  # the day after the last day it is kept
        (date(2027, 7, 14), "Europe/London", date(2027, 7, 15)),
        (date(2027, 12, 31), "Europe/London", date(2028, 1, 1)),
        (date(2027, 7, 13), "Asia/Tokyo", date(2027, 7, 15)),
    ],
)
def test_a_sitting_goes_after_its_day_and_after_the_notice(
    cast: Cast, settings: object, until: date | None, zone: str, goes_on: date | None
) -> None:
    settings.REMOVAL_NOTICE_DAYS = 14  # type: ignore[attr-defined]
    assert removal_letter.goes_on(kept_until(cast, until, zone), WROTE) == goes_on


def test_only_the_letter_about_the_day_that_is_set_counts(cast: Cast) -> None:
    day, other = date(2027, 7, 1), date(2027, 8, 1)
    sitting = kept_until(cast, day)
    letter = letters.notify_photographer(sitting, "removal", removal_letter.about(day))
    assert letter is not None
    assert removal_letter.told_at(sitting) is None
    assert removal_letter.is_current(Letter.objects.get())
    Letter.objects.update(sent_at=WROTE)
    assert removal_letter.told_at(sitting) == WROTE
    for moved in (kept_until(cast, other), kept_until(cast, None)):
        assert removal_letter.told_at(moved) is None
        assert not removal_letter.is_current(Letter.objects.get())
    assert removal_letter.told_at(kept_until(cast, day)) == WROTE
    assert removal_letter.told_at(make_cast("other").sitting) is None


def test_one_more_of_that_letter_is_about_the_same_day_and_is_not_the_first(cast: Cast) -> None:
    sitting = kept_until(cast, date(2027, 7, 1))
    letters.notify_photographer(sitting, "removal", removal_letter.about(date(2027, 7, 1)))
    Letter.objects.update(sent_at=WROTE)
    more = outbox.send_again(Letter.objects.select_related("sitting").get(), cast.as_owner)
    assert removal_letter.is_current(Letter.objects.get(pk=more.pk))
    Letter.objects.filter(pk=more.pk).update(sent_at=WROTE + timedelta(days=5))
    assert removal_letter.told_at(sitting) == WROTE
