"""A question put to the database so often that its SQL is written once: composing it costs more than the answer."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from django.db import connection
from django.db.models import QuerySet

# Stand for the values while the SQL is written: no question of ours has such a number in it by itself.
PLACE = 7_000_000_000_000_000_000


class Compiled:
    """`build` gets as many values as are asked with and gives a query set's `values_list`; each value is a number or a
    text that stands in a filter by itself."""

    def __init__(self, build: Callable[..., QuerySet[Any, Any]]) -> None:
        self._build = build
        self._written = lru_cache(maxsize=64)(self._write)

    def __call__(self, *values: int | str) -> list[tuple[Any, ...]]:
        """The rows. Raises what the database raises."""
        sql, places, compiler, converters = self._written(connection.vendor, tuple(map(type, values)))
        with connection.cursor() as cursor:
            cursor.execute(sql, tuple(values[place] if place is not None else plain for place, plain in places))
            rows = cursor.fetchall()
        return [tuple(row) for row in compiler.apply_converters(rows, converters)] if converters else rows

    def _write(self, _vendor: str, kinds: tuple[type, ...]) -> tuple[str, list[tuple[int | None, Any]], Any, Any]:
        """The SQL, and of each of its values its place among those asked with, or what it always is."""
        stands = [kind(PLACE + nth) for nth, kind in enumerate(kinds)]
        compiler = self._build(*stands).query.get_compiler(connection=connection)
        sql, values = compiler.as_sql()
        places = [(stands.index(value) if value in stands else None, value) for value in values]
        missing = set(range(len(stands))) - {place for place, _plain in places}
        if missing:
            raise ValueError(f"The values in places {sorted(missing)} do not stand in the question by themselves.")
        columns = [column for column, _sql, _name in compiler.select]
        return sql, places, compiler, compiler.get_converters(columns)
