"""The paper of a statement of extra finals, by Poppler and pypdf: tagged, in the reader's language, the same twice."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from django.utils import translation
from pypdf import PdfReader

from galleries.papers.money import Price
from galleries.papers.statement import Listed
from galleries.words import money, statements
from tests.papers.test_pdf import info, words
from tests.statements import a_sheet

FINALS = (
    Listed("0417", "KAL_0417.JPG", False, "both"),
    Listed("0418", "KAL_0418.JPG", True, "subject"),
    Listed("0419", "KAL_0419.JPG", True, ""),
)
SHEET = a_sheet(7, FINALS, allowance=1, price=Price(123450, "EUR", 19000, False), replaces=3, paid_before=100)


@pytest.mark.parametrize(
    ("language", "title", "owed", "page"),
    [
        ("en", "Statement 7, 4 May 2026", "Owed: EUR 2,937.11", "page 1"),
        ("de", "Aufstellung 7, 4. Mai 2026", "Offen: 2.937,11 EUR", "Seite 1"),
        ("es", "Relación 7, 4 de mayo de 2026", "Por pagar: 2 937,11 EUR", "página 1"),
    ],
)
def test_the_paper_is_tagged_and_in_the_reader_s_language(
    language: str, title: str, owed: str, page: str, tmp_path: Path
) -> None:
    """PDF/UA-1 (ISO 14289-1, 7.1 and 7.2): tagged, with a title and the language of its text."""
    with translation.override(language):
        pdf = statements.pdf(SHEET)
        assert pdf == statements.pdf(SHEET)
    text = words(pdf, tmp_path).replace("\xa0", " ")
    for wanted in (title, owed, page, "KAL_0418.JPG", "Northlight Rooms", "tamsin@northlight.example"):
        assert wanted in text, wanted
    assert "KAL_0417" not in text.partition("0418")[0]  # of the included only the number counts
    assert info(pdf, tmp_path)["Tagged"] == "yes"
    assert PdfReader(io.BytesIO(pdf)).trailer["/Root"]["/Lang"] == language


def test_each_extra_says_whose_wish_it_was() -> None:
    said = [statements.wanted_by(one, SHEET) for one in SHEET.extras]
    assert said == ["on the subject's list", "on nobody's list: put there by Ruben Achterberg"]


def test_sums_are_told_line_by_line() -> None:
    assert statements.sums(SHEET) == [
        ("2 extra finals at EUR\xa01,234.50", "EUR\xa02,469.00"),
        ("plus 19 % tax", "EUR\xa0469.11"),
        ("Sum", "EUR\xa02,938.11"),
        ("Paid before", "EUR\xa0-1.00"),
        ("Owed", "EUR\xa02,937.11"),
    ]
    within = a_sheet(7, FINALS, allowance=1, price=Price(5000, "JPY", 10000, True), paid_otherwise=(100, "USD"))
    assert statements.sums(within) == [
        ("2 extra finals at JPY\xa05,000", "JPY\xa010,000"),
        ("of this 10 % tax", "JPY\xa0909"),
        ("Paid before in another currency, not counted here", "USD\xa01.00"),
        ("Owed", "JPY\xa010,000"),
    ]
    assert statements.sums(a_sheet(7, FINALS[:1], paid_before=4000))[-1] == ("Paid too much", "EUR\xa040.00")


def test_rates_have_the_decimals_they_were_given() -> None:
    assert [money.rate(rate) for rate in (0, 19000, 9975, 100_000, 500)] == ["0", "19", "9.975", "100", "0.5"]
    with translation.override("de"):
        assert money.rate(9975) == "9,975"
