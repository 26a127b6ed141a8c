"""What finals beyond the allowance cost: setting it, and the quote that a person sees before a list is closed."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, PriceChanged
from galleries.models import ExtraTerms, JournalLine, Payer, Sitting, Studio, Verb
from galleries.models.compiled import CompiledRows
from galleries.papers.money import DIGITS, MOST, WHOLE, Price, Sum
from galleries.steps.agreeing import paid
from galleries.words import money

Source = ExtraTerms.Source
VALUES = ("unit", "currency", "tax_rate", "tax_included", "payer", "waits_for_paid")


@dataclass(frozen=True)
class Quote:
    """What holds now for a sitting. `price` is None where none is said; `token` names all of it."""

    allowance: int
    price: Price | None
    payer: str
    waits: bool

    def extras(self, finals: int) -> int:
        return max(0, finals - self.allowance)

    def sum(self, finals: int) -> Sum | None:
        """For a list of so many finals; None where there is nothing to pay, or no price is said."""
        extras = self.extras(finals)
        return self.price.of(extras) if self.price is not None and extras else None

    @property
    def token(self) -> str:
        told = {"allowance": self.allowance, "price": self.price and asdict(self.price), "payer": self.payer}
        return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]


def usual() -> ExtraTerms:
    """The studio's; not kept yet, and without a price, where nobody has set it."""
    return ExtraTerms.objects.filter(sitting=None).first() or ExtraTerms()


def own(sitting: Sitting) -> ExtraTerms:
    """The sitting's; one that follows the usual, not kept yet, where nobody has set it."""
    terms = ExtraTerms.objects.filter(sitting=sitting).first()
    if terms is not None:
        return terms
    start = usual()
    return ExtraTerms(sitting=sitting, source=Source.USUAL, **{name: getattr(start, name) for name in VALUES})


_ask_terms = CompiledRows(
    lambda sitting: ExtraTerms.objects.filter(Q(sitting=sitting) | Q(sitting=None)).order_by(), by_keys=True
)


def quote(sitting: Sitting) -> Quote:
    """By the allowance that `sitting` has; the terms are read now, in one question."""
    rows = {row.sitting_id: row for row in _ask_terms(sitting.pk)}
    common = rows.get(None) or ExtraTerms()
    terms = rows.get(sitting.pk) or ExtraTerms(
        source=Source.USUAL, payer=common.payer, waits_for_paid=common.waits_for_paid
    )
    priced = {Source.USUAL: common, Source.OWN: terms}.get(Source(terms.source))
    price = price_of(priced) if priced is not None else None
    return Quote(sitting.allowance, price, terms.payer, terms.waits_for_paid)


def price_of(terms: ExtraTerms) -> Price | None:
    """The price that stands in these terms; None where none does."""
    return Price(terms.unit, terms.currency, terms.tax_rate, terms.tax_included) if terms.unit else None


def check_seen(quoted: Quote, finals: int, seen: str | None) -> None:
    """Does what this person saw still hold, for a list of so many finals? `seen`: the token of the quote they saw.

    Raises:
        PriceChanged: it does not, or they were shown none and there is something to pay.
    """
    if seen is None and quoted.sum(finals) is None:
        return
    if seen != quoted.token:
        raise PriceChanged(
            _("The price or the allowance changed while this page was open. Read what holds now, then close the list.")
        )


def set_usual(by: Visitor, **values: Any) -> ExtraTerms:
    """The studio's usual price; sittings that follow it have the new one from now on.

    Raises:
        Refused: not this person's to change.
        BadInput: a value that cannot be; the sentence names it.
    """
    require(by, Act.RUN_STUDIO, Studio.current(), _("The studio's prices are set by whoever runs the studio."))
    check(values)
    with transaction.atomic():
        terms, _new = ExtraTerms.objects.select_for_update().get_or_create(sitting=None)
        _keep(terms, values)
        JournalLine.write(None, by.who, Verb.EXTRAS_PRICED, Studio.current().name, **_told(terms))
    return terms


def set_own(sitting: Sitting, by: Visitor, source: str, *, other_currency: bool = False, **values: Any) -> ExtraTerms:
    """What a sitting's extras cost. Statements that were issued stay as they are. `other_currency`: another one than
    something was paid in already is meant.

    Raises:
        Refused: only the photographer does.
        BadInput: a value that cannot be; the sentence names it.
        Conflict: something was paid in another currency, and that this one is meant was not said.
    """
    require(by, Act.RUN, sitting, _("Prices are the photographer's to set."))
    if source not in Source.values:
        raise BadInput(_("Say which price holds: the studio's usual, one of its own, or none."))
    if source != Source.OWN:  # whatever stands in the fields of a price that is not chosen
        values = {**values, "unit": 0, "currency": "", "tax_rate": None, "tax_included": True}
    check(values, wanted=source == Source.OWN)
    currency = {Source.OWN: values.get("currency", ""), Source.USUAL: usual().currency}.get(Source(source), "")
    if not other_currency and (told := uncounted_words(sitting, currency)):
        raise Conflict(f"{told} {_('If you mean it, say so below the currency.')}")
    with transaction.atomic():
        terms, _new = ExtraTerms.objects.select_for_update().get_or_create(sitting=sitting, defaults={"source": source})
        _keep(terms, {**values, "source": source})
        stages.touch(sitting)
        JournalLine.write(sitting, by.who, Verb.EXTRAS_PRICED, sitting.title, **_told(terms))
    return terms


def uncounted_words(sitting: Sitting, currency: str) -> str:
    """What is not reckoned with where extras cost something in this currency; '' for nothing. For the studio alone."""
    amount, other = paid.uncounted(sitting, currency)
    words = _("%(amount)s was paid already. A statement in %(currency)s does not count it: settle that between you.")
    return words % {"amount": money.amount(amount, other), "currency": currency} if amount else ""


def check(values: dict[str, Any], *, wanted: bool = False) -> None:
    """
    Raises:
        BadInput: a value that cannot be; with `wanted`, also where no price is among them.
    """
    unit, currency, rate = values.get("unit", 0), values.get("currency", ""), values.get("tax_rate")
    if type(unit) is not int or not 0 <= unit <= MOST or (wanted and not unit):
        raise BadInput(_("The price is a number above nothing, in the currency."))
    if unit and currency not in DIGITS:
        raise BadInput(_("Choose the currency of the price."))
    if rate is not None and (type(rate) is not int or not 0 <= rate <= WHOLE):
        raise BadInput(_("A tax rate lies between 0 and 100 %."))
    if values.get("payer", Payer.SUBJECT) not in Payer.values:
        raise BadInput(_("Say who is asked to pay: the subject or the representation."))


def _keep(terms: ExtraTerms, values: dict[str, Any]) -> None:
    for name in ("source", *VALUES):
        if name in values:
            setattr(terms, name, values[name])
    if not terms.unit:
        terms.currency = ""
    terms.save()


def _told(terms: ExtraTerms) -> dict[str, Any]:
    return {name: getattr(terms, name) for name in ("source", *VALUES)}
