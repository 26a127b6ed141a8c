"""Amounts in minor units, against ISO 4217 and sums done by hand."""

from __future__ import annotations

import random
from decimal import ROUND_HALF_UP, Decimal

import pytest

from galleries.papers import money
from galleries.papers.money import Price, Sum


def test_minor_units_are_those_of_the_standard() -> None:
    """ISO 4217, list one as published on 2026-01-01 (column CcyMnrUnts), read by hand in the copy that PyPI's
    iso4217 1.16.20260101 carries; all of its currencies but funds, units of account, metals and the two for tests."""
    digits = money.DIGITS
    assert {code for code in digits if digits[code] == 0} == {
        *("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW"),
        *("PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"),
    }
    assert {code for code in digits if digits[code] == 3} == {"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"}
    assert len(digits) == 156
    assert set(digits.values()) == {0, 2, 3}
    assert {"EUR", "USD", "GBP", "CHF", "PLN", "MXN", "ARS", "XCG"} <= set(digits)
    assert not {"CLF", "UYI", "XAU", "XDR", "XXX", "XTS", "HRK", "BGN", "ANG", "CHE"} & set(digits)  # gone, or no money


@pytest.mark.parametrize(
    ("text", "digits", "amount"),
    [
        ("40", 2, 4000), ("40.5", 2, 4050), ("40,50", 2, 4050), (" 0.05 ", 2, 5), ("1200", 0, 1200),
        ("1.250", 3, 1250), ("1000000000", 2, 100_000_000_000),
    ],
)  # fmt: skip
def test_what_is_typed_is_read_whole(text: str, digits: int, amount: int) -> None:
    assert money.minor(text, digits) == amount


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("1.250", 2), ("1,250.00", 2), ("1 250", 2), ("12.5", 0), ("", 2), (".5", 2), ("5.", 2), ("-4", 2), ("4e2", 2),
        ("٤٠", 2), ("1000000000.01", 2), ("NaN", 2), ("40 EUR", 2), ("9" * 13, 0),
    ],
)  # fmt: skip
def test_what_could_be_read_two_ways_is_refused(text: str, digits: int) -> None:
    with pytest.raises(ValueError, match=r".*"):
        money.minor(text, digits)


def test_sums_by_hand() -> None:
    assert Price(4000, "EUR").of(3) == Sum(12000, None, 12000)
    assert Price(1999, "EUR", 19000, True).of(3) == Sum(5039, 958, 5997)  # 59.97 × 19/119 = 9.57504
    assert Price(1999, "EUR", 19000, False).of(3) == Sum(5997, 1139, 7136)  # 11.3943
    assert Price(50, "EUR", 1000, False).of(1) == Sum(50, 1, 51)  # half a cent goes up
    assert Price(49, "EUR", 1000, False).of(1) == Sum(49, 0, 49)
    assert Price(5000, "JPY", 10000, True).of(2) == Sum(9091, 909, 10000)
    assert Price(4000, "EUR", 0, False).of(1) == Sum(4000, 0, 4000)  # a rate of nothing is said, unlike none
    assert Price(100_000_000_000, "KWD", 9975, False).of(999).total == 109_865_025_000_000


def test_tax_is_rounded_as_decimal_arithmetic_does() -> None:
    draw = random.Random(4217)
    for _case in range(500):
        unit, rate, n = draw.randrange(1, 10**7), draw.randrange(0, 100_001), draw.randrange(1, 40)
        amount, share = Decimal(unit) * n, Decimal(rate) / 100_000
        top = Price(unit, "EUR", rate, False).of(n)
        assert top.tax == int((amount * share).quantize(Decimal(1), ROUND_HALF_UP))
        within = Price(unit, "EUR", rate, True).of(n)
        assert within.tax == int((amount * share / (1 + share)).quantize(Decimal(1), ROUND_HALF_UP))
        assert within.net + (within.tax or 0) == within.total == amount
        assert top.net + (top.tax or 0) == top.total


def test_amounts_are_never_floats() -> None:
    assert str(money.decimal(1234500, "JPY")) == "1234500"
    assert str(money.decimal(5, "EUR")) == "0.05"
    assert str(money.decimal(1500, "KWD")) == "1.500"
    with pytest.raises(KeyError):
        money.decimal(1, "XXX")
