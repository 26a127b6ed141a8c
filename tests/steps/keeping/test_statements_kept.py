"""Statements of extra finals in an archive, after removal, and in a person's own copy."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest

from galleries.errors import BadInput
from galleries.models import Statement, StatementBook
from galleries.steps.agreeing import extras
from galleries.steps.keeping import archive_file, erase, own_rows
from galleries.steps.keeping.restore import restore
from tests.cast import Cast, make_cast
from tests.statements import a_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = make_cast()
    extras.set_own(cast.sitting, cast.as_owner, "own", unit=4000, currency="EUR", payer="subject")
    issued(cast, 7)
    StatementBook.objects.create(pk=1, last_number=7)
    return cast


def issued(cast: Cast, number: int, payer: str = "subject") -> Statement:
    statement: Statement = cast.sitting.statements.create(
        round=cast.sitting.rounds.get(), number=number, payer=payer, content=a_sheet(number, payer=payer).as_dict()
    )
    return statement


def test_it_comes_back_with_its_number_and_what_it_said_though_another_has_that_number(
    cast: Cast, tmp_path: Path
) -> None:
    content = cast.sitting.statements.get().content
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    assert not Statement.objects.exists()
    assert StatementBook.objects.get().last_number == 7  # never given again
    issued(make_cast("other"), 7)
    sitting = restore(tmp_path / "one.zip").sitting
    back = sitting.statements.get()
    assert (back.number, back.content, back.restored) == (7, content, True)
    assert extras.quote(sitting).price == extras.Price(4000, "EUR")


@pytest.mark.parametrize("lie", ["price", "content"])
def test_an_archive_whose_prices_or_statements_nobody_could_read_is_refused(
    cast: Cast, tmp_path: Path, lie: str
) -> None:
    archive_file.write(cast.sitting, tmp_path / "one.zip", cast.as_owner)
    erase.erase(cast.sitting, cast.as_owner, "test")
    with zipfile.ZipFile(tmp_path / "one.zip") as old, zipfile.ZipFile(tmp_path / "two.zip", "w") as new:
        head = json.loads(old.read("sitting.json"))
        if lie == "price":
            head["rows"]["ExtraTerms"][0]["fields"]["currency"] = "XXX"
        else:
            head["rows"]["Statement"][0]["fields"]["content"]["price"]["unit"] = "much"
        new.writestr("sitting.json", json.dumps(head))
        new.writestr("SHA256SUMS", "")
    with pytest.raises(BadInput):
        restore(tmp_path / "two.zip")
    assert not Statement.objects.exists()


@pytest.mark.parametrize("payer", ["subject", "representation"])
def test_the_subject_s_own_copy_holds_what_they_are_asked_to_pay_and_not_what_the_agent_is(
    cast: Cast, payer: str
) -> None:
    cast.sitting.statements.update(payer=payer)
    table = next(one for one in own_rows.TABLES if one.model is Statement)
    (row,) = own_rows.rows(table, cast.sitting, cast.subject, lambda _row, _name: "")
    assert row["number"] == 7
    assert ("content" in row) is (payer == "subject")
    assert "paid_by" not in row
