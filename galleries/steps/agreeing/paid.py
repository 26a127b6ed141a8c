"""What was paid for a sitting by the statements so far: reckoned with in the same currency, only named in another."""

from __future__ import annotations

from galleries.models import Sitting, Statement
from galleries.papers.statement import Sheet


def before(statement: Statement | None, sheet: Sheet | None, currency: str) -> tuple[int, tuple[int, str]]:
    """Up to and with `statement`, which says `sheet`: what was paid in this currency, and what in another, as (minor
    units, currency)."""
    if statement is None or sheet is None:
        return 0, (0, "")
    paid = sheet.paid_before + (sheet.due if statement.paid_at else 0)
    if sheet.price.currency == currency:
        return paid, sheet.paid_otherwise
    return 0, (paid, sheet.price.currency) if paid else sheet.paid_otherwise


def uncounted(sitting: Sitting, currency: str) -> tuple[int, str]:
    """What was paid for this sitting that a next statement, in this currency, would not reckon with."""
    standing = Statement.objects.latest_of(sitting.pk)
    return before(standing, standing.sheet if standing is not None else None, currency)[1] if currency else (0, "")
