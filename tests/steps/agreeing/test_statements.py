"""Statements: issued with the closing, numbered without a gap, kept as they were, seen by whoever is asked to pay."""

from __future__ import annotations

import json

import pytest

from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Invite, Sitting, StatementBook
from galleries.steps.agreeing import agree, extras, statements
from galleries.steps.delivering import payment
from galleries.steps.picking import pick
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return priced(make_cast())


def priced(cast: Cast, unit: int = 4000, currency: str = "EUR", **more: object) -> Cast:
    Sitting.objects.filter(pk=cast.sitting.pk).update(allowance=1)
    cast.sitting.refresh_from_db()
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=unit, currency=currency, **more)
    return cast


def closed(cast: Cast, frames: list[int], by: object = None) -> None:
    agree.close(cast.sitting, frames, by or cast.as_representation, extras.quote(cast.sitting).token)
    cast.sitting.refresh_from_db()


def test_each_extra_names_on_whose_list_it_stood_and_those_the_fewest_wanted_are_the_extras(cast: Cast) -> None:
    one, two, three, four = (cast.frame(n) for n in range(1, 5))
    for person, frames in ((cast.as_subject, (two, four)), (cast.as_representation, (two, three))):
        for frame in frames:
            pick.set_mark(person, frame.pk, kind="pick")
    closed(cast, [one.pk, three.pk, two.pk, four.pk])
    sheet = cast.sitting.statements.get().sheet
    assert [(item.label, item.extra, item.asked) for item in sheet.finals] == [
        ("0001", True, ""), ("0003", True, "representation"), ("0002", False, "both"), ("0004", True, "subject"),
    ]  # fmt: skip
    assert (sheet.closed_by, sheet.closed_role) == ("Ruben Achterberg", "representation")
    assert (sheet.allowance, sheet.due, sheet.payer_name) == (1, 12000, "Ansa Veld")


def test_a_later_price_does_not_alter_it(cast: Cast) -> None:
    closed(cast, [cast.frame(n).pk for n in range(1, 4)])
    before = json.dumps(cast.sitting.statements.get().content)
    priced(cast, 9900, "USD", payer="representation")
    extras.set_usual(cast.as_owner, unit=1, currency="GBP")
    Sitting.objects.update(allowance=9, title="Another", subject_given="Zoe")
    statement = cast.sitting.statements.get()
    assert json.dumps(statement.content) == before
    assert statement.payer == "subject"


def test_numbers_have_no_gap_and_are_the_studio_s(cast: Cast) -> None:
    other = priced(make_cast("beside"))
    frames = [cast.frame(n).pk for n in range(1, 4)]
    closed(cast, frames)
    with pytest.raises(BadInput):  # a closing that fails takes its number back
        closed(other, [frames[0], frames[1]])
    closed(other, [other.frame(n).pk for n in range(1, 3)])
    assert [cast.sitting.statements.get().number, other.sitting.statements.get().number] == [1, 2]
    other.sitting.statements.all().delete()
    agree.reopen(cast.sitting, cast.as_owner, "one less")
    closed(cast, frames[:2])
    assert cast.sitting.statements.latest("pk").number == 3  # never one that was given before


def test_a_reopened_list_makes_a_new_one_that_names_what_it_replaces(cast: Cast) -> None:
    frames = [cast.frame(n).pk for n in range(1, 5)]
    closed(cast, frames[:3])
    first = cast.sitting.statements.get()
    payment.say_paid(first, cast.as_owner)
    agree.reopen(cast.sitting, cast.as_owner, "one more")
    closed(cast, frames)
    second = statements.standing(cast.sitting)
    assert second is not None
    assert (second.sheet.replaces, second.sheet.paid_before, second.sheet.due) == (1, 8000, 4000)
    with pytest.raises(Conflict):  # what was reckoned with is not taken back
        payment.say_paid(first, cast.as_owner, False)
    agree.reopen(cast.sitting, cast.as_owner, "back to one")
    closed(cast, frames[:1])
    third = statements.standing(cast.sitting)
    assert third is not None
    assert (third.sheet.sum.total, third.sheet.due, third.is_open) == (0, -8000, False)


def test_what_was_paid_in_another_currency_is_named_and_not_reckoned_with(cast: Cast) -> None:
    frames = [cast.frame(n).pk for n in range(1, 4)]
    closed(cast, frames)
    payment.say_paid(cast.sitting.statements.get(), cast.as_owner)
    agree.reopen(cast.sitting, cast.as_owner, "another currency")
    with pytest.raises(Conflict, match=r"EUR\s80.00 was paid already"):
        priced(cast, 5000, "JPY")
    assert extras.quote(cast.sitting).price.currency == "EUR"  # type: ignore[union-attr]
    priced(cast, 5000, "EUR")
    priced(cast, 5000, "JPY", other_currency=True)
    assert "A statement in JPY does not count it" in extras.uncounted_words(cast.sitting, "JPY")
    assert extras.uncounted_words(cast.sitting, "EUR") == ""
    closed(cast, frames)
    sheet = cast.sitting.statements.latest("pk").sheet
    assert (sheet.paid_before, sheet.paid_otherwise, sheet.due) == (0, (8000, "EUR"), 10000)


@pytest.mark.parametrize(("payer", "other"), [("subject", "representation"), ("representation", "subject")])
def test_only_who_is_asked_to_pay_reads_it(cast: Cast, payer: str, other: str) -> None:
    priced(cast, payer=payer)
    closed(cast, [cast.frame(n).pk for n in range(1, 4)])
    statement, reader, apart = cast.sitting.statements.get(), getattr(cast, f"as_{payer}"), getattr(cast, f"as_{other}")
    assert statements.read(statement, reader).due == 8000
    assert statements.read(statement, cast.as_owner).due == 8000
    assistant = Invite.objects.create(
        sitting=cast.sitting, role="assistant", name="A", email="a@b.example", expires_at=cast.subject.expires_at
    )
    beside = make_cast("beside")
    for person in (apart, cast.as_recipient, type(reader)(invite=assistant), getattr(beside, f"as_{payer}"),
                   beside.as_owner, type(reader)()):  # fmt: skip
        with pytest.raises((Missing, Refused)):
            statements.read(statement, person)
    assert len(statements.counted(cast.sitting, apart).extras) == 2  # type: ignore[union-attr]
    for person in (cast.as_recipient, type(reader)(invite=assistant), type(reader)()):
        with pytest.raises((Missing, Refused)):
            statements.counted(cast.sitting, person)
    Invite.objects.filter(sitting=cast.sitting).update(expires_at=cast.sitting.created_at)
    reader.invite.refresh_from_db()
    with pytest.raises((Missing, Refused)):  # an ended invite
        statements.read(statement, reader)


def test_a_frame_kept_from_the_agent_since_is_counted_and_not_named(cast: Cast) -> None:
    priced(cast, payer="representation")
    look = cast.look("Bare")
    frames = [cast.frame(1).pk, cast.frame(2).pk, cast.frame(3, look).pk]
    closed(cast, frames)
    look.kept_from_representation = True
    look.save()
    sheet = statements.read(cast.sitting.statements.get(), cast.as_representation)
    assert [one.label for one in sheet.finals] == ["0001", "0002", "–"]
    assert sheet.due == 8000


def test_the_book_is_one_row(cast: Cast) -> None:
    closed(cast, [cast.frame(n).pk for n in range(1, 4)])
    assert StatementBook.objects.get().last_number == 1
