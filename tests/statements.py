"""Statements of extra finals for tests."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from galleries.papers.money import Price
from galleries.papers.statement import Listed, Sheet


def a_sheet(number: int = 1, finals: Sequence[Listed] = (), **more: Any) -> Sheet:
    """One final beyond an allowance of none, at 40 euros, unless the test says otherwise."""
    values: dict[str, Any] = {
        "issued": "2026-05-04T15:00:00+01:00", "studio": "Northlight Rooms", "photographer": "Tamsin Okonedo-Vale",
        "contact": "tamsin@northlight.example", "sitting": "Ansa Veld, spring", "subject": "Ansa Veld",
        "payer": "subject", "payer_name": "Ansa Veld", "allowance": 0, "price": Price(4000, "EUR"),
        "closed_by": "Ruben Achterberg", "closed_role": "representation",
    }  # fmt: skip
    listed = tuple(finals) or (Listed("0417", "KAL_0417.JPG", True, "both"),)
    return Sheet(**{**values, **more, "number": number, "finals": listed})
