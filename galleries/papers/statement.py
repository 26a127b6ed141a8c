"""A statement of finals beyond the allowance: what it says, kept as it was issued, and its files for machines.

It asks for nothing by itself and is no invoice: what a bill must say is local law.
"""

from __future__ import annotations

import json
from collections.abc import Container, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from galleries.papers import table
from galleries.papers.money import DIGITS, Price, Sum, decimal

VERSION = 1


@dataclass(frozen=True)
class Listed:
    """A final of the list. `asked`: on whose list it stood when it was closed ('both', 'subject', 'representation', or
    '': on nobody's)."""

    label: str
    file: str
    extra: bool
    asked: str


@dataclass(frozen=True)
class Sheet:
    """All that a statement says. `paid_before`: what was paid of those it replaces, in the same currency;
    `paid_otherwise` in another, as (minor units, currency)."""

    number: int
    issued: str  # ISO 8601, by the sitting's clock
    studio: str
    photographer: str
    contact: str
    sitting: str
    subject: str
    payer: str
    payer_name: str
    allowance: int
    finals: tuple[Listed, ...]
    price: Price
    closed_by: str
    closed_role: str
    replaces: int = 0
    paid_before: int = 0
    paid_otherwise: tuple[int, str] = (0, "")

    @property
    def extras(self) -> tuple[Listed, ...]:
        return tuple(one for one in self.finals if one.extra)

    @property
    def sum(self) -> Sum:
        return self.price.of(len(self.extras))

    @property
    def due(self) -> int:
        """What is still owed; below zero: what was paid too much."""
        return self.sum.total - self.paid_before

    def without(self, hidden: Container[str]) -> Sheet:
        """For a reader from whom the frames of these files are kept: counted, not named."""
        blank = [replace(one, label="–", file="–") if one.file in hidden else one for one in self.finals]
        return replace(self, finals=tuple(blank))

    def as_dict(self) -> dict[str, Any]:
        return {"version": VERSION, **asdict(self)}

    @classmethod
    def of(cls, kept: dict[str, Any]) -> Sheet:
        """From `as_dict`, through JSON or not. Raises KeyError, TypeError or ValueError for what is none."""
        values = dict(kept)
        if values.pop("version") != VERSION:
            raise ValueError("a statement of another version")
        amount, currency = values["paid_otherwise"]
        price, whole = Price(**values["price"]), (values["number"], values["allowance"], values["paid_before"], amount)
        if {type(one) for one in (price.unit, *whole)} != {int} or {price.currency, currency or "EUR"} - set(DIGITS):
            raise ValueError("amounts are whole numbers of a known currency")
        values["finals"] = tuple(Listed(**one) for one in values["finals"])
        return cls(**{**values, "price": price, "paid_otherwise": (amount, currency)})


def as_json(sheet: Sheet) -> bytes:
    """What it says, and the sums in minor units beside the ISO 4217 code."""
    sums = {**asdict(sheet.sum), "due": sheet.due}
    return json.dumps({**sheet.as_dict(), "sums": sums}, ensure_ascii=False, indent=1, sort_keys=True).encode() + b"\n"


def as_csv(sheet: Sheet) -> str:
    """RFC 4180, a row per final, then one per sum; amounts with a point, in the currency itself."""
    currency, sums = sheet.price.currency, sheet.sum
    head = ["statement", "issued", "sitting", "asked_to_pay", "line", "frame", "file", "on_the_list_of", "amount"]
    same = [sheet.number, sheet.issued, sheet.sitting, sheet.payer_name]

    def row(line: str, final: Sequence[object] = ("", "", ""), amount: int = 0) -> list[object]:
        return [*same, line, *final, decimal(amount, currency), currency]

    def listed(one: Listed) -> list[object]:
        final = (one.label, one.file, one.asked)
        return row("extra", final, sheet.price.unit) if one.extra else row("included", final)

    rows: list[Sequence[object]] = [
        [*head, "currency"],
        *(listed(one) for one in sheet.finals),
        row("net", amount=sums.net),
    ]
    if sums.tax is not None:
        rows.append(row("tax", amount=sums.tax))
    rows.append(row("sum", amount=sums.total))
    if sheet.paid_before:
        rows.append(row("paid_before", amount=-sheet.paid_before))
    rows.append(row("due", amount=sheet.due))
    return table.written(rows)
