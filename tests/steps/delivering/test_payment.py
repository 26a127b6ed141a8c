"""A delivery that waits for the photographer's word that the extras are paid."""

from __future__ import annotations

import pytest

from galleries.access import Visitor
from galleries.errors import Conflict, Missing, Refused
from galleries.models import Delivery, Letter
from galleries.steps.agreeing import extras
from galleries.steps.delivering import offer, payment
from tests.cast import Cast, make_cast
from tests.statements import a_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast(stage="finishing")
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", waits_for_paid=True)
    cast.sitting.statements.create(
        round=cast.sitting.rounds.get(), number=7, payer="subject", content=a_sheet(7).as_dict()
    )
    return cast


def made(cast: Cast) -> Delivery:
    licence = cast.sitting.licences.create(number=1, terms={}, text="")
    for person in (cast.subject, cast.representation, cast.recipient):
        licence.acceptances.create(invite=person, name=person.name)
    delivery: Delivery = cast.sitting.deliveries.create(number=1, licence=licence, sizes={}, state="made")
    delivery.files.create(size_slug="s", name="a.jpg", key="k", sha256="c" * 64, bytes=1)
    return delivery


def told() -> set[tuple[str, str]]:
    return set(Letter.objects.filter(kind="delivery").values_list("to", "about"))


def test_until_it_is_paid_nobody_invited_fetches_and_each_reads_what_is_theirs_to_know(cast: Cast) -> None:
    delivery = made(cast)
    offer.send(delivery, cast.as_owner)
    reasons = {}
    for name in ("subject", "representation", "recipient"):
        with pytest.raises(Refused) as refused:
            offer.check_fetch(delivery, getattr(cast, f"as_{name}"))
        reasons[name] = str(refused.value)
    assert "Statement 7" in reasons["subject"]
    assert "EUR\xa040.00" in reasons["subject"]
    assert "the studio and the subject" in reasons["representation"]
    for word in ("7", "40", "EUR", "paid", "statement"):
        assert word not in reasons["representation"]
        assert word not in reasons["recipient"]
    offer.check_fetch(delivery, cast.as_owner)
    assert told() == {(cast.subject.email, "delivery-1")}  # the others hear of it when there is something to fetch


def test_paid_opens_it_tells_everybody_once_and_can_be_taken_back(cast: Cast) -> None:
    delivery = made(cast)
    offer.send(delivery, cast.as_owner)
    statement = cast.sitting.statements.get()
    payment.say_paid(statement, cast.as_owner)
    for person in (cast.as_subject, cast.as_representation, cast.as_recipient):
        offer.check_fetch(delivery, person)
    assert {to for to, about in told() if about.endswith("-paid")} == {
        one.email for one in (cast.subject, cast.representation, cast.recipient)
    }
    count = Letter.objects.count()
    with pytest.raises(Conflict):
        payment.say_paid(statement, cast.as_owner)
    payment.say_paid(statement, cast.as_owner, False)
    with pytest.raises(Refused):
        offer.check_fetch(delivery, cast.as_representation)
    payment.say_paid(statement, cast.as_owner)
    assert Letter.objects.count() == count
    assert [line.verb for line in cast.sitting.journal.filter(thing="statement 7")] == [
        "statement paid", "statement unpaid", "statement paid",
    ]  # fmt: skip


def test_nothing_waits_where_the_sitting_does_not_say_so_or_nothing_is_owed(cast: Cast) -> None:
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", waits_for_paid=False)
    assert payment.holding(cast.sitting) is None
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", waits_for_paid=True)
    assert payment.holding(cast.sitting) is not None
    cast.sitting.statements.update(content=a_sheet(7, paid_before=4000).as_dict())
    assert payment.holding(cast.sitting) is None
    with pytest.raises(Conflict):
        payment.say_paid(cast.sitting.statements.get(), cast.as_owner)


def test_nobody_but_the_photographer_says_paid(cast: Cast) -> None:
    for person in (cast.as_subject, cast.as_representation, cast.as_recipient, Visitor(user=cast.stranger), Visitor()):
        with pytest.raises((Refused, Missing)):
            payment.say_paid(cast.sitting.statements.get(), person)
    assert cast.sitting.statements.get().paid_at is None
