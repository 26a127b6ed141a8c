"""Amounts and rates in the reader's language, by Django's own number formats."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.utils.formats import get_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from galleries.papers import money
from galleries.papers.money import Price


def amount(value: int, currency: str) -> str:
    """Minor units as 'EUR 1,234.50', '1.234,50 EUR': the code, for a sign such as $ is many currencies'."""
    digits = money.DIGITS[currency]
    number = number_format(money.decimal(value, currency), digits, use_l10n=True, force_grouping=True)
    return _placed() % {"currency": currency, "number": number}


def _placed() -> str:
    """Where this language puts the currency's code; a line never breaks between it and the number."""
    return pgettext("amount", "%(currency)s %(number)s").replace(" ", "\u00a0")


def for_scripts(price: Price) -> dict[str, Any]:
    """All that a script needs to reckon and to write sums as this module does."""
    return {
        "unit": str(price.unit),
        "rate": None if price.tax_rate is None else str(price.tax_rate),
        "included": price.tax_included,
        "digits": money.DIGITS[price.currency],
        "decimal": str(get_format("DECIMAL_SEPARATOR")),
        "group": str(get_format("THOUSAND_SEPARATOR")),
        "placed": _placed() % {"currency": price.currency, "number": "{number}"},
    }


def rate(thousandths: int) -> str:
    """A rate kept in thousandths of a percent: '19', '9.975'."""
    value = Decimal(thousandths).scaleb(-3).normalize()
    return number_format(f"{value:f}", use_l10n=True)


def of_tax(price: Price) -> str:
    """What is said of tax; '' where nothing is."""
    if price.tax_rate is None:
        return ""
    words = _("%(rate)s %% tax is in it") if price.tax_included else _("%(rate)s %% tax comes on top")
    return words % {"rate": rate(price.tax_rate)}


def each(price: Price, allowance: int) -> str:
    """What one final beyond the allowance costs, as a sentence."""
    words = ngettext(
        "Each final beyond the %(n)d included costs %(amount)s",
        "Each final beyond the %(n)d included costs %(amount)s",
        allowance,
    ) % {"n": allowance, "amount": amount(price.unit, price.currency)}
    tax = of_tax(price)
    return f"{words} ({tax})." if tax else f"{words}."
