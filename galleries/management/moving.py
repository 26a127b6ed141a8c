"""The whole database into an empty one of another kind: every row, as it is, compared afterwards; or nothing.

Rows are read and written column by column, past everything that would set a date or ask a rule anew. Only tables and
sequences are made; the journal's triggers stand from the start, since lines are only added. Numbers are not given
twice: each table counts on from the highest number it ever gave, not from the highest it still holds, for a proof's
tracer names its invite by number.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

from galleries.errors import BadInput, Conflict
from galleries.models import journal_guard

SOURCE, TARGET = DEFAULT_DB_ALIAS, "moved to"
BATCH = 500
# Kept by Django itself: which migrations there were. The target's own migrating writes it.
NOT_ROWS = {"django_migrations"}
Seen = Callable[[str, int], None]


@dataclass(frozen=True)
class Moved:
    """Rows by table, and the digest that both databases have for each."""

    rows: dict[str, int]
    digests: dict[str, str]


def move(target: dict[str, Any], seen: Seen | None = None) -> Moved:
    """Copy the site's database into the one that `target` (an entry of DATABASES) names. Nobody writes meanwhile.

    Raises:
        Conflict: the target is not empty, or is what we move from; the site's own tables are not up to date.
        BadInput: the target is out of reach, or does not take a row; it is as empty as before.
    """
    with _named(target) as there:
        _check_source()
        _check_target(there)
        try:
            with _or_empty(there):
                with _read_only(
                    connections[SOURCE]
                ):  # a migration that forgets which database it is for must not write here
                    call_command("migrate", database=TARGET, verbosity=0, interactive=False)
                # The source's transaction holds its write lock from the beginning (BEGIN IMMEDIATE).
                with transaction.atomic(using=SOURCE), transaction.atomic(using=TARGET):
                    return _copied(there, seen)
        except (DatabaseError, ValueError) as error:
            raise BadInput(f"The new database does not take it; it is empty as before: {_first(error)}") from error


def _first(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:200]


@contextmanager
def _named(target: dict[str, Any]) -> Iterator[BaseDatabaseWrapper]:
    """The target under a name of its own among Django's connections, as long as it is needed."""
    entries = connections.configure_settings({SOURCE: connections.settings[SOURCE], TARGET: dict(target)})
    connections.settings[TARGET] = entries[TARGET]
    try:
        yield connections[TARGET]
    finally:
        connections[TARGET].close()
        del connections[TARGET], connections.settings[TARGET]


def _check_source() -> None:
    executor = MigrationExecutor(connections[SOURCE])
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise Conflict("The site's own tables are not up to date: run manage.py migrate first.")
    known = {model._meta.db_table for model in _models()} | NOT_ROWS
    strange = sorted(set(connections[SOURCE].introspection.table_names()) - known)
    if strange:
        raise Conflict(f"This program does not know the table {strange[0]}, and would leave it behind.")


def _check_target(there: BaseDatabaseWrapper) -> None:
    try:
        tables = there.introspection.table_names()
    except DatabaseError as error:
        raise BadInput(f"The new database cannot be reached: {_first(error)}") from error
    if tables:
        raise Conflict(f"The new database is not empty: it has {len(tables)} tables, {tables[0]} among them.")


@contextmanager
def _or_empty(there: BaseDatabaseWrapper) -> Iterator[None]:
    """Whatever stops it, the target has no table afterwards: it had none before."""
    try:
        yield
    except BaseException:
        with there.cursor() as cursor:
            for table in there.introspection.table_names(cursor):
                cursor.execute(f"DROP TABLE {there.ops.quote_name(table)} CASCADE")
            if there.vendor == "postgresql":
                cursor.execute("DROP FUNCTION IF EXISTS galleries_journal_guard()")
        raise


@contextmanager
def _read_only(here: BaseDatabaseWrapper) -> Iterator[None]:
    """SQLite refuses every write of this connection."""
    with here.cursor() as cursor:
        cursor.execute("PRAGMA query_only = 1")
        try:
            yield
        finally:
            cursor.execute("PRAGMA query_only = 0")


def _models() -> list[type[models.Model]]:
    """Every table's model, those between two tables included."""
    every = apps.get_models(include_auto_created=True)
    return sorted(
        (one for one in every if one._meta.managed and not one._meta.proxy), key=lambda one: one._meta.db_table
    )


def _columns(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    return [field for field in model._meta.concrete_fields if not getattr(field, "generated", False)]


def _copied(there: BaseDatabaseWrapper, seen: Seen | None) -> Moved:
    tables = _models()
    with there.constraint_checks_disabled() if there.vendor == "sqlite" else _nothing():
        for model in tables:  # what migrating put there: the site's own come instead, with their numbers
            if model._meta.db_table != journal_guard.TABLE:
                model._base_manager.using(TARGET).all()._raw_delete(TARGET)
        for model in tables:
            count = _copy(model, there)
            if seen is not None:
                seen(model._meta.db_table, count)
    there.check_constraints()
    _count_on(tables, there)
    moved = Moved({}, {})
    for model in tables:
        here, copy = _sum(model, SOURCE), _sum(model, TARGET)
        if here != copy:
            raise ValueError(f"{model._meta.db_table} came out different: {here[0]} rows here, {copy[0]} there.")
        moved.rows[model._meta.db_table], moved.digests[model._meta.db_table] = copy
    return moved


@contextmanager
def _nothing() -> Iterator[None]:
    yield


def _rows(model: type[models.Model], alias: str) -> Iterator[tuple[Any, ...]]:
    names = [field.attname for field in _columns(model)]
    rows: Iterator[tuple[Any, ...]] = (
        model._base_manager.using(alias).order_by().values_list(*names).iterator(chunk_size=BATCH)
    )
    return rows


def _copy(model: type[models.Model], there: BaseDatabaseWrapper) -> int:
    """Insert every row with its own number; returns how many."""
    columns, quote = _columns(model), there.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in columns)
    places = ", ".join(["%s"] * len(columns))
    table = quote(model._meta.db_table)  # names of our own tables, no words of others
    into = f"INSERT INTO {table} ({names}) VALUES ({places})"  # noqa: S608  # nosec B608
    count, waiting = 0, []
    with there.cursor() as cursor:
        for row in _rows(model, SOURCE):
            waiting.append([field.get_db_prep_save(value, there) for field, value in zip(columns, row, strict=True)])
            count += 1
            if len(waiting) == BATCH:
                cursor.executemany(into, waiting)
                waiting = []
        if waiting:
            cursor.executemany(into, waiting)
    return count


def _count_on(tables: list[type[models.Model]], there: BaseDatabaseWrapper) -> None:
    """The next number of each table is above every number it ever gave."""
    with connections[SOURCE].cursor() as cursor:
        given = dict(cursor.execute("SELECT name, seq FROM sqlite_sequence").fetchall())
    with there.cursor() as cursor:
        for statement in there.ops.sequence_reset_sql(no_style(), tables):
            cursor.execute(statement)
        for model in tables:
            table, key = model._meta.db_table, model._meta.pk
            if isinstance(key, models.AutoField) and given.get(table):
                cursor.execute(
                    "SELECT setval(pg_get_serial_sequence(%s, %s), %s)",
                    [there.ops.quote_name(table), key.column, given[table]],
                )


def _sum(model: type[models.Model], alias: str) -> tuple[int, str]:
    """How many rows, and a digest of them all in which their order does not count: the sum of each row's SHA-256."""
    count = total = 0
    for row in _rows(model, alias):
        count += 1
        total += int.from_bytes(hashlib.sha256(_plain(row).encode()).digest(), "big")
    return count, f"{total % (1 << 256):064x}"


def _plain(row: tuple[Any, ...]) -> str:
    """The row as one text, the same for the same values: databases keep the keys of JSON in orders of their own, bytes
    as kinds of their own, and know no zero below zero."""
    return json.dumps([_value(one) for one in row], sort_keys=True, default=str)


def _value(value: Any) -> Any:
    if isinstance(value, float):
        return value + 0.0
    if isinstance(value, bytes | memoryview):
        return bytes(value).hex()
    if isinstance(value, dict):
        return {key: _value(one) for key, one in value.items()}
    return [_value(one) for one in value] if isinstance(value, list | tuple) else value
