"""Letters: once each, with a fresh link, in the person's language, never in quiet hours."""

from __future__ import annotations

import smtplib
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.utils import timezone

from galleries.models import InviteLink, Job, Letter, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.agreeing import agree
from galleries.steps.people import invite as invites
from galleries.steps.people import letters, openings, posting
from galleries.steps.picking import pick
from tests.cast import make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    cast = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    return cast


def send_all():
    jobs.run_waiting(kinds=["letter"])


def test_an_invitation_carries_a_link_that_works_and_is_not_kept(cast):
    letters.invite_by_letter(cast.subject, cast.as_owner)
    send_all()
    (message,) = mail.outbox
    assert message.to == ["ansa@veld.example"]
    token = message.body.split("/i/")[1].split()[0]
    assert openings.open_link(token, "a browser") == cast.subject
    assert token not in str(list(Letter.objects.values()) + list(InviteLink.objects.values()))
    letters.invite_by_letter(cast.subject, cast.as_owner)
    send_all()
    assert len(mail.outbox) == 2  # asked for again: a second letter with a link of its own


def test_no_letter_goes_out_twice(cast):
    for _ in range(3):
        letters.notify(cast.sitting, "proofs", [cast.subject, cast.representation])
        send_all()
    assert sorted(message.to[0] for message in mail.outbox) == ["ansa@veld.example", "ruben@achterberg.example"]
    for letter in Letter.objects.all():
        posting.send(letter.pk)
    assert len(mail.outbox) == 2


def test_quiet_hours_hold_a_letter_back_and_it_goes_later(cast):
    here = timezone.now().astimezone(ZoneInfo(cast.sitting.time_zone)).hour
    Studio.objects.update(letters_from=(here + 2) % 24, letters_until=(here + 3) % 24)  # quiet now, whatever the hour
    letters.notify(cast.sitting, "proofs", [cast.subject])
    send_all()
    assert not mail.outbox
    letters.invite_by_letter(cast.subject, cast.as_owner)  # somebody pressed the button: it goes at once
    send_all()
    assert len(mail.outbox) == 1
    Studio.objects.update(letters_from=0, letters_until=24)
    posting.send_due()
    send_all()
    assert len(mail.outbox) == 2


def test_quiet_hours_by_the_clock_of_the_sitting(cast):
    Sitting.objects.update(time_zone="Europe/Berlin")
    cast.sitting.refresh_from_db()
    midnight = datetime(2026, 1, 15, tzinfo=ZoneInfo("Europe/Berlin"))
    for start, stop, written in ((8, 20, set(range(8, 20))), (22, 2, {22, 23, 0, 1}), (0, 24, set(range(24)))):
        Studio.objects.update(letters_from=start, letters_until=stop)
        loud = {hour for hour in range(24) if not posting.is_quiet(cast.sitting, midnight + timedelta(hours=hour))}
        assert loud == written


def test_a_revoked_person_gets_nothing(cast):
    letters.notify(cast.sitting, "proofs", [cast.subject])
    invites.revoke(cast.subject, cast.as_owner)
    send_all()
    cast.subject.refresh_from_db()
    assert not letters.notify(cast.sitting, "closed", [cast.subject])
    assert not mail.outbox


def test_reminders_come_before_the_deadline_once_each_to_those_who_are_not_through(cast):
    deadline = date(2026, 12, 10)
    Sitting.objects.update(deadline=deadline)
    cast.representation.picks_done_at = timezone.now()
    cast.representation.save()
    for days in (10, 4, 3, 3, 2, 1, 1, 0, -1, -5):
        posting.send_due(deadline - timedelta(days=days))
        send_all()
    assert [message.to for message in mail.outbox] == [["ansa@veld.example"]] * 2
    assert all("3 finals are included." in message.body for message in mail.outbox)
    assert sorted(Letter.objects.values_list("about", flat=True)) == ["2026-12-10-1", "2026-12-10-3"]


@pytest.mark.parametrize("stage", ["planning", "finishing", "delivered", "archived"])
def test_nobody_is_reminded_to_choose_when_there_is_nothing_to_choose(cast, stage):
    Sitting.objects.update(deadline=date(2026, 12, 10), stage=stage)
    assert posting.send_due(date(2026, 12, 9)) == 0
    assert not Letter.objects.exists()


def test_the_letter_of_a_closed_list_names_what_was_picked_in_vain_to_those_who_may_know(cast):
    kept = cast.look("Bare", kept_from_representation=True)
    listed, left_out, hers = cast.frame(1), cast.frame(2), cast.frame(3, kept)
    for frame in (listed, left_out, hers):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    pick.set_mark(cast.as_representation, listed.pk, kind="pick")
    until = timezone.now() + timedelta(days=9)
    cast.sitting.invites.create(role="assistant", name="Mirre Solland", email="m@solland.example", expires_at=until)
    agree.close(cast.sitting, [listed.pk], cast.as_owner)
    send_all()
    vain = {
        message.to[0]: message.body.partition("Picked, and not on it: ")[2].partition("\n")[0]
        for message in mail.outbox
    }
    assert vain == {
        "ansa@veld.example": "0002, 0003.",
        "ruben@achterberg.example": "0002.",
        "tamsin@northlight.example": "0002, 0003.",
        "m@solland.example": "",
    }
    assert all("On the list: 0001." in message.body for message in mail.outbox)


@pytest.mark.parametrize(
    ("error", "state", "attempts"),
    [
        (ConnectionRefusedError("mail server at 10.0.0.7 is away"), "waiting", 0),  # waited for, and never given up
        (smtplib.SMTPResponseException(550, b"no such box"), "failed", 4),  # RFC 5321, 4.2.1: refused for good
    ],
)
def test_mail_that_cannot_be_sent_is_tried_again_and_marked(cast, monkeypatch, error, state, attempts):
    letters.notify(cast.sitting, "proofs", [cast.subject])

    def away(self, *args, **kwargs):
        raise error

    monkeypatch.setattr("django.core.mail.EmailMessage.send", away)
    send_all()
    job = Job.objects.get(kind="letter")
    assert (job.state, job.attempts) == (state, attempts)
    assert "10.0.0.7" not in str(job.reason)
    assert (job.not_before is not None) == (state == "waiting")
    assert Letter.objects.get().sent_at is None


def test_letters_speak_the_persons_language(cast):
    cast.subject.language = "de"
    cast.subject.save()
    letters.notify(cast.sitting, "proofs", [cast.subject, cast.representation])
    send_all()
    german, english = sorted(mail.outbox, key=lambda message: message.to)
    assert german.subject != english.subject


def test_an_unknown_kind_is_a_programmers_mistake(cast):
    with pytest.raises(ValueError, match="'postcard'"):
        letters.notify(cast.sitting, "postcard", [cast.subject])


def test_a_closing_is_told_with_what_was_chosen_and_what_was_not(cast):
    on, off, kept = (cast.frame(number) for number in (1, 2, 3))
    for frame in (on, off, kept):
        pick.set_mark(cast.as_subject, frame.pk, kind="pick")
    type(kept).objects.filter(pk=kept.pk).update(kept_by_subject=True)
    agree.close(cast.sitting, [on.pk], cast.as_representation)
    send_all()
    told = {message.to[0]: message.body for message in mail.outbox}
    assert f"On the list: {on.label}." in told["ansa@veld.example"]
    assert f"Picked, and not on it: {off.label}, {kept.label}." in told["ansa@veld.example"]
    assert f"Picked, and not on it: {off.label}." in told["ruben@achterberg.example"]
    assert kept.label not in told["ruben@achterberg.example"]
