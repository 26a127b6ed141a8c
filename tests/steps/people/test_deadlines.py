"""The days in calendars: whose they are, when they are told, and that no address among them opens anything."""

from __future__ import annotations

from datetime import date, timedelta

import icalendar
import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone

from galleries import access
from galleries.errors import Refused
from galleries.models import Letter, Sitting
from galleries.papers.calendar import Day
from galleries.steps.people import deadlines, posting
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db
DAY, HELD = date(2026, 12, 9), date(2026, 11, 20)


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Sitting.objects.filter(pk=made.sitting.pk).update(deadline=DAY, held_on=HELD, stage=Sitting.Stage.PROOFING)
    made.sitting.refresh_from_db()
    return made


def days(by: access.Visitor, cast: Cast) -> list[date]:
    return [day.on for day in deadlines.of_person(by, cast.sitting)]


def test_whoever_marks_has_the_day_until_they_are_through(cast: Cast) -> None:
    assert days(cast.as_subject, cast) == [HELD, DAY]
    assert days(cast.as_representation, cast) == [HELD, DAY]
    assert days(cast.as_owner, cast) == [HELD]
    cast.subject.picks_done_at = timezone.now()
    cast.subject.save()
    assert days(access.Visitor(invite=cast.subject), cast) == [HELD]


def test_after_the_list_closed_no_picks_are_wanted(cast: Cast) -> None:
    Sitting.objects.filter(pk=cast.sitting.pk).update(stage=Sitting.Stage.FINISHING)
    cast.sitting.refresh_from_db()
    assert days(cast.as_subject, cast) == [HELD]
    assert deadlines.of_studio(cast.owner) == []


def test_who_may_not_see_the_plan_gets_no_day(cast: Cast) -> None:
    with pytest.raises(Refused):
        deadlines.of_person(cast.as_recipient, cast.sitting)


def test_the_studio_has_the_days_of_its_own_sittings_only(cast: Cast) -> None:
    other = make_cast("other")
    Sitting.objects.filter(pk=other.sitting.pk).update(deadline=DAY, stage=Sitting.Stage.PROOFING)
    assert [day.uid.split("@")[0] for day in deadlines.of_studio(cast.owner)] == [
        f"picks-{cast.sitting.uid}"
    ]  # the day of the sitting itself is over


def test_each_kind_of_deadline_is_in_its_person_s_days_in_the_studio_s_and_in_its_letter(cast: Cast) -> None:
    now, sitting = timezone.now(), cast.sitting
    Sitting.objects.update(stage=Sitting.Stage.FINISHING, held_on=None, keep_until=DAY, answer_days=7)
    sitting.refresh_from_db()
    sitting.rounds.update(closed_at=now, objection_until=now + timedelta(hours=9))
    final = cast.final()
    final.versions.create(
        number=1, sha256="a" * 64, key="k", name="n.jpg", bytes=1, width=1, height=1, proof_key="p", sent_at=now
    )
    assert kinds(deadlines.of_person(cast.as_subject, sitting)) == {"answers", "objection"}
    assert kinds(deadlines.of_person(cast.as_representation, sitting)) == set()
    assert kinds(deadlines.of_studio(cast.owner)) == {"answers", "objection", "removal"}
    for kind, person, brought in (
        ("retouch", cast.subject, {"answers"}), ("answer", cast.subject, {"answers"}),
        ("closed", cast.subject, {"objection"}), ("closed", cast.representation, set()), ("removal", None, {"removal"}),
        ("delivery", cast.recipient, set()),
    ):  # fmt: skip
        assert kinds(deadlines.for_letter(kind, person, sitting)) == brought, kind
    end = next(day for day in deadlines.of_person(cast.as_subject, sitting) if day.at)
    calendar = icalendar.Calendar.from_ical(deadlines.as_file([end], "x"))
    (event,) = calendar.walk("VEVENT")
    assert event["DTSTART"].dt == (now + timedelta(hours=9)).replace(microsecond=0)  # to the second, RFC 5545, 3.3.5
    assert "DTEND" not in event
    (alarm,) = event.walk("VALARM")
    assert alarm["TRIGGER"].dt == timedelta(hours=-3)


def kinds(listed: list[Day]) -> set[str]:
    return {day.uid.partition("-")[0] for day in listed}


def test_the_invitation_and_the_reminder_bring_the_day_along(cast: Cast) -> None:
    for kind, invite, brings in (
        ("invitation", cast.subject, True),
        ("reminder", cast.representation, True),
        ("proofs", cast.representation, True),
        ("invitation", cast.recipient, False),
        ("closed", cast.subject, False),
    ):
        letter = Letter(sitting=cast.sitting, invite=invite, kind=kind, to=invite.email)
        made = posting.message(letter, "https://studio.example/i/SECRET")
        files = [part for part in made.attachments if part[0] == "deadline.ics"]
        assert bool(files) is brings, kind
        for _name, content, kind_of_file in files:
            assert kind_of_file == "text/calendar"
            assert "DTSTART;VALUE=DATE:20261209" in content
            assert "SECRET" not in content
    assert mail.outbox == []


def test_a_stranger_gets_no_file_and_a_photographer_their_own(cast: Cast, client: Client) -> None:
    assert client.get("/studio/deadlines.ics").status_code == 302
    client.force_login(cast.owner)
    answer = client.get("/studio/deadlines.ics")
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer["Cache-Control"]
    assert b"DTSTART;VALUE=DATE:20261209" in answer.content
    Sitting.objects.update(deadline=None)
    assert client.get("/studio/deadlines.ics").status_code == 404
