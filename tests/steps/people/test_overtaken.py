"""A letter held back by the letter hours does not go once what it says is not so any more."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.core import mail
from django.utils import timezone

from galleries.errors import Conflict
from galleries.models import Final, Invite, Letter, Sitting, Studio
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
