"""What finals beyond the allowance cost, in sentences for those who choose and close."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from galleries.models import Payer, Sitting
from galleries.papers.money import Price
from galleries.steps.agreeing import extras
from galleries.steps.agreeing.extras import Quote
from galleries.words import money


def of_sitting(sitting: Sitting) -> list[str]:
    """As `terms`, of what holds now."""
    return terms(extras.quote(sitting))


def terms(quoted: Quote) -> list[str]:
    """The price of one, who is asked to pay, and whether the delivery waits; nothing where no price is said."""
    if quoted.price is None:
        return []
    return [price(quoted.price, quoted.allowance), _payer(quoted.payer), *([_waits()] if quoted.waits else [])]


def price(of_one: Price | None, allowance: int) -> str:
    """What one costs; '' where no price is said."""
    return money.each(of_one, allowance) if of_one is not None else ""


def _payer(payer: str) -> str:
    if payer == Payer.SUBJECT:
        return _("The studio asks the subject to pay for them.")
    return _("The studio asks the representation to pay for them.")


def _waits() -> str:
    return _("The files can be fetched once that is paid.")


def of_list(quoted: Quote, finals: int) -> str:
    """What a list of so many finals costs beyond what is included; '' where it costs nothing more."""
    total = quoted.sum(finals)
    if total is None or quoted.price is None:
        return ""
    n = quoted.extras(finals)
    words = ngettext("%(n)d final beyond the allowance: %(sum)s.", "%(n)d finals beyond the allowance: %(sum)s.", n)
    return words % {"n": n, "sum": money.amount(total.total, quoted.price.currency)}
