"""A letter held back by the letter hours does not go once what it says is not so any more."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone

from galleries.errors import Conflict
from galleries.models import Acceptance, Delivery, Final, Invite, Letter, Sitting, Studio
from galleries.steps import jobs
from galleries.steps.people import letters, outbox, overtaken, posting
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    made = make_cast()
    Studio.objects.update(letters_from=0, letters_until=24)
    Sitting.objects.update(deadline=date(2027, 2, 1), answer_days=7)
    made.sitting.refresh_from_db()
    return made


def shown_final(cast: Cast) -> Final:
    final = Final.objects.create(
        sitting=cast.sitting, frame=cast.frame(1), round=cast.sitting.rounds.get(), state="shown", position=1
    )
    final.versions.create(
        number=1, sha256="1" * 64, key="k", name="n.jpg", bytes=1, width=9, height=9, sent_at=timezone.now()
    )
    return final


def retoucher_of(cast: Cast) -> Invite:
    until = timezone.now() + timedelta(days=9)
    return cast.sitting.invites.create(role="retoucher", name="Odo Wren", email="o@wren.example", expires_at=until)


def answered(cast: Cast) -> None:
    version = Final.objects.get().versions.get()
    version.approvals.create(sha256=version.sha256, decision="approved", who="Ansa Veld", invite=cast.subject)


def through(cast: Cast) -> None:
    Invite.objects.filter(pk=cast.subject.pk).update(picks_done_at=timezone.now())


def closed(cast: Cast) -> None:
    Sitting.objects.update(stage="finishing")
    cast.sitting.rounds.update(closed_at=timezone.now(), closed_by="Ruben")


def opened(cast: Cast) -> None:
    closed(cast)
    Sitting.objects.update(stage="agreeing")
    cast.sitting.rounds.create(number=2)


def opened_and_closed(cast: Cast) -> None:
    opened(cast)
    closed(cast)


def sent() -> list[str]:
    jobs.run_waiting(kinds=["letter"])
    bodies = [f"{message.subject}\n{message.body}" for message in mail.outbox]
    mail.outbox.clear()
    return bodies


@pytest.mark.parametrize(
    ("kind", "about", "stage", "event"),
    [
        ("retouch", "sent-1", "finishing", answered),
        ("answer", "2027-01-01-3", "finishing", answered),
        ("reminder", "2027-02-01-3", "proofing", through),
        ("reminder", "2027-02-01-3", "proofing", closed),
        ("proofs", "", "proofing", closed),
        ("closed", "round-1", "finishing", opened),
        ("objected", "round-2", "agreeing", opened_and_closed),
        ("paused", "round-2", "agreeing", opened_and_closed),
    ],
)
def test_what_was_overtaken_in_the_night_is_not_said_in_the_morning(
    cast: Cast, kind: str, about: str, stage: str, event: Callable[[Cast], None]
) -> None:
    Sitting.objects.update(stage=stage)
    if stage == "finishing":
        shown_final(cast)
    cast.sitting.refresh_from_db()
    (letter,) = letters.notify(cast.sitting, kind, [cast.subject], about=about)
    assert not overtaken.is_overtaken(Letter.objects.get()) or kind in {"objected", "paused"}
    event(cast)
    assert sent() == []
    assert not Letter.objects.filter(pk=letter.pk).exists(), "what comes later is told by a letter of its own"


@pytest.mark.parametrize("kind", ["work", "work_due"])
def test_a_retoucher_is_not_told_of_nothing(cast: Cast, kind: str) -> None:
    Sitting.objects.update(stage="finishing", retouch_by=date(2027, 3, 1))
    cast.sitting.refresh_from_db()
    letters.notify(cast.sitting, kind, [retoucher_of(cast)], about="round-1")
    assert sent() == []


def delivered(cast: Cast, **fields: object) -> Delivery:
    """Delivery 1, made and handed over, its one letter listed for the subject."""
    terms = {"starts": date(2026, 11, 1).isoformat()}
    licence = cast.sitting.licences.create(number=1, terms=terms, text="")
    values = {"state": "ready", "ready_at": timezone.now(), "archive_name": "a.zip", **fields}
    made = Delivery.objects.create(sitting=cast.sitting, number=1, licence=licence, sizes={}, **values)
    letters.notify(cast.sitting, "delivery", [cast.subject], about="delivery-1")
    return made


@pytest.mark.parametrize("fields", [{"state": "withdrawn"}, {"expires_at": timezone.now() - timedelta(hours=1)}])
def test_of_a_delivery_that_was_withdrawn_or_lapsed_in_the_night_nobody_reads(
    cast: Cast, fields: dict[str, object]
) -> None:
    Sitting.objects.update(stage="delivered")
    made = delivered(cast)
    Delivery.objects.filter(pk=made.pk).update(**fields)
    assert sent() == []
    assert not Letter.objects.exists(), "offered again, it is told by a letter of its own"
    Delivery.objects.filter(pk=made.pk).update(state="ready", expires_at=None)
    letters.notify(cast.sitting, "delivery", [cast.subject], about="delivery-1")
    assert len(sent()) == 1


def test_the_letter_of_a_delivery_names_its_last_day_and_what_it_takes(cast: Cast) -> None:
    Sitting.objects.update(stage="delivered")
    until = timezone.make_aware(datetime(2031, 5, 17, 12))
    made = delivered(cast, expires_at=until, passcode_hash="x", changed_only=True)
    (text,) = sent()
    assert "The files can be fetched until 17 May 2031." in text
    assert "need a passcode" in text
    assert "new or changed" in text
    assert "Accept it with your name" in text
    Letter.objects.all().delete()
    Delivery.objects.update(expires_at=None, passcode_hash="", changed_only=False)
    Acceptance.objects.create(licence=made.licence, invite=cast.subject, name="Ansa Veld")
    letters.notify(cast.sitting, "delivery", [cast.subject], about="delivery-1")
    (text,) = sent()
    assert "You have accepted their licence already" in text
    for words in ("fetched until", "passcode", "new or changed", "Accept it with"):
        assert words not in text


@pytest.mark.parametrize(
    ("stage", "fields", "is_there"),
    [
        ("delivered", {}, True), ("finishing", {}, True), ("delivered", {"state": "withdrawn"}, False),
        ("delivered", {"expires_at": timezone.now() - timedelta(hours=1)}, False),
    ],
)  # fmt: skip
def test_a_recipient_is_invited_to_what_can_be_fetched(
    cast: Cast, stage: str, fields: dict[str, object], is_there: bool
) -> None:
    Sitting.objects.update(stage=stage)
    cast.sitting.refresh_from_db()
    delivered(cast, **fields)
    Letter.objects.all().delete()
    letters.invite_by_letter(cast.recipient, cast.as_owner)
    (text,) = sent()
    assert ("behind this link are the pictures" in text) == is_there
    assert ("You get a letter when they are ready" in text) != is_there


def test_what_is_still_so_goes(cast: Cast) -> None:
    Sitting.objects.update(stage="finishing")
    shown_final(cast)
    cast.sitting.refresh_from_db()
    letters.notify(cast.sitting, "retouch", [cast.subject], about="sent-1")
    (letter,) = sent()
    assert letter.startswith("A retouch to look at")


def test_one_more_of_a_letter_that_is_not_so_any_more_is_refused_by_name(cast: Cast) -> None:
    letters.notify(cast.sitting, "reminder", [cast.subject], about="by-hand")
    assert len(sent()) == 1
    through(cast)
    with pytest.raises(Conflict, match="not so any more"):
        outbox.send_again(Letter.objects.select_related("sitting", "invite").get(), cast.as_owner)
    posting.send_due(date(2027, 1, 1))
    assert sent() == []
