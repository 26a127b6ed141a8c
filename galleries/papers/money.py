"""Amounts of money as whole numbers of a currency's minor unit, and what tax makes of them. Never a float.

Currencies and their minor units: ISO 4217, list one as published on 2026-01-01 (units of account, precious metals and
funds left out).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

_NO_MINOR = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX VND VUV XAF XOF XPF"
_THOUSANDTHS = "BHD IQD JOD KWD LYD OMR TND"
_HUNDREDTHS = """AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CNY COP
CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES
KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD
PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY
TTD TWD TZS UAH USD UYU UZS VED VES WST XAD XCD XCG YER ZAR ZMW ZWG"""
DIGITS = {
    code: digits for digits, codes in ((0, _NO_MINOR), (2, _HUNDREDTHS), (3, _THOUSANDTHS)) for code in codes.split()
}
CURRENCIES = tuple(sorted(DIGITS))
MOST = 10**11  # minor units; a thousand such extras still count exactly in every browser
WHOLE = 100_000  # a tax rate is kept in thousandths of a percent


def minor(text: str, digits: int) -> int:
    """'40', '40.5' or '40,50' as minor units of a currency with `digits` decimals: a point or a comma, never both, and
    no sign that groups thousands, so that nothing is read as a thousand times what was meant.

    Raises:
        ValueError: no such number, more decimals than the currency has, or more than `MOST`.
    """
    match = re.fullmatch(r"([0-9]{1,12})(?:[.,]([0-9]+))?", text.strip())
    if match is None or len(match[2] or "") > digits:
        raise ValueError(text[:40])
    amount = int(match[1] + (match[2] or "").ljust(digits, "0"))
    if amount > MOST:
        raise ValueError(text[:40])
    return amount


def decimal(amount: int, currency: str) -> Decimal:
    """In the currency itself, with its own number of decimals; KeyError for none of ISO 4217's."""
    return Decimal(amount).scaleb(-DIGITS[currency])


@dataclass(frozen=True)
class Sum:
    """What extras come to, in minor units: `total` with its `tax`, which is None where nothing is said of tax."""

    net: int
    tax: int | None
    total: int


@dataclass(frozen=True)
class Price:
    """What one final beyond the allowance costs. `tax_rate`: thousandths of a percent, None where nothing is said."""

    unit: int
    currency: str
    tax_rate: int | None = None
    tax_included: bool = True

    def of(self, extras: int) -> Sum:
        """The sum for so many, tax rounded once, of the whole sum, half a minor unit up (common practice, no
        source)."""
        amount = self.unit * extras
        if self.tax_rate is None:
            return Sum(amount, None, amount)
        if self.tax_included:
            tax = _half_up(amount * self.tax_rate, WHOLE + self.tax_rate)
            return Sum(amount - tax, tax, amount)
        tax = _half_up(amount * self.tax_rate, WHOLE)
        return Sum(amount, tax, amount + tax)


def _half_up(number: int, by: int) -> int:
    return (2 * number + by) // (2 * by)
