"""What an extra costs: the studio's usual, a sitting's own, and the quote that holds."""

from __future__ import annotations

import pytest

from galleries.errors import BadInput, PriceChanged, Refused
from galleries.models import ExtraTerms, JournalLine, Sitting
from galleries.papers.money import Price
from galleries.steps.agreeing import agree, extras
from tests.cast import Cast, make_cast

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    return make_cast()


def priced(cast: Cast, unit: int = 4000, **more: object) -> None:
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=unit, currency="EUR", **more)


def test_a_sitting_follows_the_usual_price_until_it_has_its_own(cast: Cast) -> None:
    assert extras.quote(cast.sitting).price is None
    extras.set_usual(cast.as_owner, unit=5000, currency="JPY", payer="representation", waits_for_paid=True)
    quoted = extras.quote(cast.sitting)
    assert (quoted.price, quoted.payer, quoted.waits) == (Price(5000, "JPY"), "representation", True)
    extras.set_own(cast.sitting, cast.as_owner, "usual", payer="subject", waits_for_paid=False)
    extras.set_usual(cast.as_owner, unit=6000, currency="JPY")
    quoted = extras.quote(cast.sitting)
    assert (quoted.price, quoted.payer, quoted.waits) == (Price(6000, "JPY"), "subject", False)
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", tax_rate=19000)
    assert extras.quote(cast.sitting).price == Price(4000, "EUR", 19000)
    extras.set_own(cast.sitting, cast.as_owner, "none")
    assert extras.quote(cast.sitting).price is None
    assert JournalLine.objects.filter(verb="extras priced").count() == 5
    assert ExtraTerms.objects.count() == 2


@pytest.mark.parametrize(
    "values",
    [
        {"unit": 40.5, "currency": "EUR"}, {"unit": -1, "currency": "EUR"}, {"unit": 10**11 + 1, "currency": "EUR"},
        {"unit": 0, "currency": "EUR"}, {"unit": 40, "currency": "XXX"}, {"unit": 40},
        {"unit": True, "currency": "EUR"},
        {"unit": 40, "currency": "EUR", "tax_rate": 100_001}, {"unit": 40, "currency": "EUR", "payer": "recipient"},
    ],
)  # fmt: skip
def test_a_price_that_cannot_be_is_refused_and_nothing_is_kept(cast: Cast, values: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        extras.set_own(cast.sitting, cast.as_owner, "own", **values)
    assert not ExtraTerms.objects.exists()


def test_prices_are_set_by_whoever_runs_the_studio_or_the_sitting(cast: Cast) -> None:
    cast.sitting.colleagues.add(cast.colleague)
    by = type(cast.as_owner)(user=cast.colleague)
    extras.set_own(cast.sitting, by, "own", unit=4000, currency="EUR")
    with pytest.raises(Refused):
        extras.set_usual(by, unit=4000, currency="EUR")
    for person in (cast.as_subject, cast.as_representation, cast.as_recipient):
        with pytest.raises(Refused):
            extras.set_own(cast.sitting, person, "none")


def test_who_closes_has_seen_what_holds(cast: Cast) -> None:
    frames = [cast.frame(n).pk for n in range(1, 6)]
    priced(cast)
    seen = extras.quote(cast.sitting).token
    with pytest.raises(PriceChanged):  # nothing was shown
        agree.close(cast.sitting, frames, cast.as_representation)
    priced(cast, 4100)
    with pytest.raises(PriceChanged):  # another price
        agree.close(cast.sitting, frames, cast.as_representation, seen)
    Sitting.objects.update(allowance=2)
    with pytest.raises(PriceChanged):  # a smaller allowance, of which this request's own row knows nothing
        agree.close(cast.sitting, frames, cast.as_representation, extras.quote(cast.sitting).token)
    assert not cast.sitting.finals.exists()
    assert not cast.sitting.statements.exists()
    cast.sitting.refresh_from_db()
    agree.close(cast.sitting, frames, cast.as_representation, extras.quote(cast.sitting).token)
    assert cast.sitting.statements.get().sheet.sum.total == 3 * 4100


def test_within_the_allowance_nobody_is_asked_for_a_price_they_did_not_see(cast: Cast) -> None:
    priced(cast)
    agree.close(cast.sitting, [cast.frame(1).pk], cast.as_owner)
    assert not cast.sitting.statements.exists()
