"""Rows as CSV (RFC 4180) that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from decimal import Decimal

# What a cell begins with that a spreadsheet may reckon with; the last four are the full-width signs.
FORMULA = frozenset("=+-@\t\r\n＝＋－＠")


def cell(value: object) -> str:
    """A cell that a spreadsheet takes for a text."""
    text = "" if value is None else str(value)
    return "'" + text if text[:1] in FORMULA else text


def written(rows: Iterable[Sequence[object]]) -> str:
    """The file. Numbers (`int`, `Decimal`) stand as they are, all else is a text."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for row in rows:
        writer.writerow([value if isinstance(value, int | Decimal) else cell(value) for value in row])
    return out.getvalue()
