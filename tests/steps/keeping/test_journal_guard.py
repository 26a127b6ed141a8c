"""The journal is only added to: the database sees to it. `tests/services/test_postgresql.py` runs this there too."""

from __future__ import annotations

from typing import Any

import pytest
from django.core import checks, serializers
from django.db import IntegrityError, connection, models, transaction

from galleries.models import JournalLine, Leaving, Verb, journal_guard
from galleries.steps.keeping import erase
from tests.cast import make_cast

pytestmark = pytest.mark.django_db

# Django's own rows of any model, without the query set that refuses by itself.
plain: Any = JournalLine._base_manager
# In the SQL below: the table's columns, and what they are filled with from lines that are there, after the number.
COLUMNS = "(id, sitting_id, sitting_slug, at, who, verb, thing, before, after, detail)"
LINE = "NULL, '', at, 'x', verb, '', '', '', detail FROM galleries_journalline"
SQLITE_ONLY = [
    "INSERT OR REPLACE INTO {journal} {columns} SELECT id, {line}",
    "REPLACE INTO {journal} {columns} SELECT id, {line}",
    "UPDATE OR REPLACE {journal} SET id = id + 1",
    "INSERT INTO {journal} {columns} SELECT -1, {line}",
]
POSTGRESQL_ONLY = [
    "TRUNCATE {journal}",
    "TRUNCATE galleries_sitting CASCADE",
    "WITH gone AS (DELETE FROM {journal} RETURNING id) SELECT * FROM gone",
    "CREATE TEMPORARY TABLE galleries_leaving AS SELECT sitting_id AS sitting FROM {journal}; DELETE FROM {journal}",
]
SQL = [
    "UPDATE {journal} SET who = 'x'",
    "UPDATE {journal} SET sitting_id = NULL",
    "DELETE FROM {journal}",
    "DELETE FROM {journal} WHERE sitting_id IS NULL",
    """INSERT INTO {journal} {columns} SELECT id, {line} WHERE true
        ON CONFLICT (id) DO UPDATE SET who = 'x'""",
]


@pytest.fixture(autouse=True)
def _lines() -> None:
    JournalLine.write(make_cast().sitting, "Imke Tan (photographer)", Verb.STAGE, "a thing")
    JournalLine.write(None, "the operator", Verb.ACCOUNT_MADE, "imke")


def test_every_migration_leaves_the_triggers_standing() -> None:
    """One that remakes the table on SQLite drops them in silence: let it end with `journal_guard.put_up`."""
    assert journal_guard.missing(connection) == []


@pytest.mark.parametrize("number", range(len(SQL) + 4))
def test_no_statement_changes_or_removes_a_line(number: int) -> None:
    statement = [*SQL, *(SQLITE_ONLY if connection.vendor == "sqlite" else POSTGRESQL_ONLY)][number]
    before = list(plain.values_list())
    connection.check_constraints()  # PostgreSQL empties no table while keys wait to be asked
    with pytest.raises(IntegrityError, match="journal"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format(journal=journal_guard.TABLE, columns=COLUMNS, line=LINE))
    assert list(plain.values_list()) == before


@pytest.mark.parametrize(
    "act",
    [
        lambda line: plain.update(who="x"),
        lambda line: plain.all().delete(),
        lambda line: plain.filter(pk=line.pk)._raw_delete("default"),
        lambda line: plain.bulk_update([line], ["who"]),
        lambda line: plain.bulk_create(
            [line], update_conflicts=True, unique_fields=["id"], update_fields=["who"]
        ),
        lambda line: models.Model.save(line),
        lambda line: models.Model.delete(line),
        lambda line: models.Model.save_base(line, raw=True),
        lambda line: next(serializers.deserialize("json", serializers.serialize("json", [line]))).save(),
        lambda line: line.sitting.delete(),
    ],
)  # fmt: skip
def test_nor_does_python(act: Any) -> None:
    line = JournalLine.objects.exclude(sitting=None).get()
    before = list(plain.values_list())
    line.who = "x"
    with pytest.raises((IntegrityError, TypeError)), transaction.atomic():
        act(line)
    assert list(plain.values_list()) == before


def test_erasing_takes_the_lines_of_its_own_sitting_and_no_other() -> None:
    """Not even while another is being removed do the others' lines, or those about accounts, go."""
    mine, other = make_cast("mine"), make_cast("other")
    for cast in (mine, other):
        JournalLine.write(cast.sitting, "Imke Tan (photographer)", Verb.STAGE, "a thing")
    opened = Leaving.objects.create(sitting=mine.sitting.pk)
    with pytest.raises(IntegrityError, match="no line is removed"), transaction.atomic():
        plain.all().delete()
    opened.delete()
    rest = set(plain.exclude(sitting=mine.sitting).values_list("pk", flat=True))
    erase.erase(mine.sitting, mine.as_owner, "asked for")
    assert rest < set(plain.values_list("pk", flat=True))
    assert set(plain.exclude(pk__in=rest).values_list("verb", flat=True)) == {Verb.ERASURE_BEGUN, Verb.ERASED}
    assert not Leaving.objects.exists()


def test_what_opens_the_journal_cannot_outlive_its_transaction() -> None:
    """Its key is asked when the transaction ends, and can never be satisfied."""
    with transaction.atomic():
        Leaving.objects.create(sitting=1)
        with pytest.raises(IntegrityError):
            connection.check_constraints()
        transaction.set_rollback(True)
    for closed in ({"never_id": 1}, {"pk": -1}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Leaving.objects.create(sitting=1, **closed)
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            assert cursor.execute("PRAGMA foreign_keys").fetchone() == (1,)


def test_the_site_says_so_when_a_trigger_is_missing() -> None:
    said = checks.run_checks(tags=["database"], databases=["default"])
    assert [one.id for one in said if one.id == "galleries.W003"] == []
    journal_guard.take_down(connection)
    (found,) = [
        one for one in checks.run_checks(tags=["database"], databases=["default"]) if one.id == "galleries.W003"
    ]
    assert "galleries_journal_changed" in found.msg
    journal_guard.put_up(connection)
    assert journal_guard.missing(connection) == []
