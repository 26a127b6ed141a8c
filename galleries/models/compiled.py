"""A question put to the database so often that its SQL is written once: composing it costs more than the answer."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, Generic, NamedTuple, TypeVar, cast

from django.db import connection
from django.db.models import Model, QuerySet
from django.db.models.query import get_related_populators
from django.db.models.sql import UpdateQuery

# Stand for the values while the SQL is written: no question of ours has such a number in it by itself, and it fits the
# narrowest column that is asked for by number (accounts have 32 bits: of a larger one it is known that there is none).
PLACE = 2_110_000_000
M = TypeVar("M", bound=Model)


class _Written:
    """A statement whose values, numbers and texts that stand in a filter by themselves, are put in each time."""

    def __init__(self, build: Callable[..., QuerySet[Any, Any]]) -> None:
        self._build = build
        self._written = lru_cache(maxsize=64)(self._write)

    def _compiler(self, *values: int | str) -> Any:
        return self._build(*values).query.get_compiler(connection=connection)

    def _converters(self, _compiler: Any) -> Any:
        """What makes values of Python of the columns that the compiler's statement gives."""

    def _of(self, *values: int | str) -> tuple[str, tuple[Any, ...], Any, Any]:
        """(SQL, its values, what composed it, what reads its columns)."""
        sql, places, *reading = self._written(connection.vendor, tuple(map(type, values)))
        return sql, tuple(values[place] if place is not None else plain for place, plain in places), *reading

    def _write(self, _vendor: str, kinds: tuple[type, ...]) -> tuple[str, list[tuple[int | None, Any]], Any, Any]:
        """The SQL, and of each of its values its place among those asked with, or what it always is."""
        stands = [kind(PLACE + nth) for nth, kind in enumerate(kinds)]
        compiler = self._compiler(*stands)
        sql, values = compiler.as_sql()
        places = [(stands.index(value) if value in stands else None, value) for value in values]
        missing = set(range(len(stands))) - {place for place, _plain in places}
        if missing:
            raise ValueError(f"The values in places {sorted(missing)} do not stand in the question by themselves.")
        return sql, places, compiler, self._converters(compiler)


class Compiled(_Written):
    """`build` gets as many values as are asked with and gives a query set's `values_list`."""

    def __call__(self, *values: int | str) -> list[tuple[Any, ...]]:
        """The rows. Raises what the database raises."""
        sql, params, compiler, converters = self._of(*values)
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
            rows = cursor.fetchall()
        return [tuple(row) for row in compiler.apply_converters(rows, converters)] if converters else rows

    def _converters(self, compiler: Any) -> Any:
        return compiler.get_converters([column for column, _sql, _name in compiler.select])


class _Instances(NamedTuple):
    """How rows become instances: what `django.db.models.query.ModelIterable` finds out anew each time."""

    model: type[Model]
    names: list[str]
    start: int
    stop: int
    related: list[Any]
    converters: Any


class CompiledRows(_Written, Generic[M]):
    """As `Compiled`; `build` gives a query set of instances, with whatever it selects beside them."""

    def __init__(self, build: Callable[..., QuerySet[M]]) -> None:
        super().__init__(build)

    def __call__(self, *values: int | str) -> list[M]:
        """The instances. Raises what the database raises."""
        sql, params, compiler, reading = self._of(*values)
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
            rows = cursor.fetchall()
        if reading.converters:
            rows = compiler.apply_converters(rows, reading.converters)
        instances = []
        for row in rows:
            instance = reading.model.from_db(connection.alias, reading.names, row[reading.start : reading.stop])
            for populator in reading.related:
                populator.populate(row, instance)
            instances.append(cast(M, instance))
        return instances

    def first(self, *values: int | str) -> M | None:
        return next(iter(self(*values)), None)

    def _converters(self, compiler: Any) -> _Instances:
        of_model = compiler.klass_info
        fields = of_model["select_fields"]
        start, stop = fields[0], fields[-1] + 1
        return _Instances(
            of_model["model"],
            [column[0].target.attname for column in compiler.select[start:stop]],
            start,
            stop,
            get_related_populators(of_model, compiler.select, connection.alias),  # type: ignore[call-arg]
            compiler.get_converters([column for column, _sql, _name in compiler.select]),
        )


class CompiledUpdate(_Written):
    """`build` gives the query set of the rows; `changes` are always the same, as `QuerySet.update` takes them."""

    def __init__(self, build: Callable[..., QuerySet[Any, Any]], **changes: Any) -> None:
        super().__init__(build)
        self._changes = changes

    def _compiler(self, *values: int | str) -> Any:
        query = cast(UpdateQuery, self._build(*values).query.chain(UpdateQuery))
        query.add_update_values(self._changes)
        return query.get_compiler(connection=connection)

    def __call__(self, *values: int | str) -> int:
        """How many rows were changed. Raises what the database raises."""
        sql, params, *_reading = self._of(*values)
        with connection.cursor() as cursor:
            cursor.execute(sql, params)
            return int(cursor.rowcount)
