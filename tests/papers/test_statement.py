"""Statements of extra finals as data and as files for machines."""

from __future__ import annotations

import csv
import io
import json

import pytest

from galleries.papers import statement, table
from galleries.papers.money import Price
from galleries.papers.statement import Listed, Sheet
from tests.statements import a_sheet

FINALS = (
    Listed("0001", "KAL_0001.JPG", False, "both"),
    Listed("0002", "KAL_0002.JPG", True, "subject"),
    Listed("0003", '=HYPERLINK("x")', True, ""),
)


def rows(sheet: Sheet) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(statement.as_csv(sheet), newline="")))


def test_it_comes_back_from_json_as_it_was() -> None:
    sheet = a_sheet(3, FINALS, price=Price(1999, "EUR", 19000, False), replaces=2, paid_otherwise=(100, "USD"))
    assert Sheet.of(json.loads(json.dumps(sheet.as_dict()))) == sheet
    for broken in ({**sheet.as_dict(), "version": 9}, {"version": 1}, {**sheet.as_dict(), "finals": 4}):
        with pytest.raises((KeyError, TypeError, ValueError)):
            Sheet.of(broken)


def test_the_csv_has_a_row_per_final_and_the_sums() -> None:
    sheet = a_sheet(3, FINALS, allowance=1, price=Price(1999, "EUR", 19000, False), paid_before=5000)
    listed = rows(sheet)
    assert [(row["line"], row["amount"]) for row in listed] == [
        ("included", "0.00"), ("extra", "19.99"), ("extra", "19.99"), ("net", "39.98"), ("tax", "7.60"),
        ("sum", "47.58"), ("paid_before", "-50.00"), ("due", "-2.42"),
    ]  # fmt: skip
    assert {row["currency"] for row in listed} == {"EUR"}
    assert listed[1]["on_the_list_of"] == "subject"


def test_no_cell_is_a_formula_to_a_spreadsheet() -> None:
    """OWASP, CSV injection (from memory): = + - @, tab, carriage return, and their full-width forms."""
    sheet = a_sheet(3, FINALS, sitting="@SUM(A1)", payer_name="-1+1")
    listed = rows(sheet)
    assert listed[2]["file"] == '\'=HYPERLINK("x")'
    assert {row["sitting"] for row in listed} == {"'@SUM(A1)"}
    assert {row["asked_to_pay"] for row in listed} == {"'-1+1"}
    for sign in "=+-@\t\r\n＝＋－＠":
        assert table.cell(f"{sign}1") == f"'{sign}1"
    assert table.cell("a=1") == "a=1"


def test_the_json_has_sums_in_minor_units() -> None:
    kept = json.loads(statement.as_json(a_sheet(3, FINALS, price=Price(5000, "JPY", 10000, True))))
    assert kept["sums"] == {"net": 9091, "tax": 909, "total": 10000, "due": 10000}
    assert kept["price"]["currency"] == "JPY"


def test_frames_that_are_kept_from_a_reader_are_counted_and_not_named() -> None:
    sheet = a_sheet(3, FINALS).without({"KAL_0002.JPG"})
    assert [one.label for one in sheet.finals] == ["0001", "–", "0003"]
    assert sheet.sum.total == a_sheet(3, FINALS).sum.total
    assert "0002" not in statement.as_csv(sheet)
