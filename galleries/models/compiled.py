"""A question put to the database so often that its SQL is written once: composing it costs more than the answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any, Generic, NamedTuple, TypeVar, cast

from django.db import connection
from django.db.models import Field, Model, QuerySet
from django.db.models.constants import OnConflict
from django.db.models.query import get_related_populators
from django.db.models.sql import DeleteQuery, InsertQuery, UpdateQuery

# Stand for the values while the SQL is written: no question of ours has such a number in it by itself, and it fits the
# narrowest column that is asked for by number (accounts have 32 bits: of a larger one it is known that there is none).
PLACE = 2_110_000_000
PLACE_IN_TIME = datetime(7110, 1, 1, tzinfo=UTC)
Value = int | str | datetime
M = TypeVar("M", bound=Model)


def _stand(kind: type, nth: int) -> Value:
    return PLACE_IN_TIME + timedelta(days=nth) if kind is datetime else kind(PLACE + nth)


def _adapted(values: Sequence[Value]) -> list[Any]:
    """As the database takes them: a moment is a text to SQLite."""
    adapt = connection.ops.adapt_datetimefield_value
    return [adapt(value) if isinstance(value, datetime) else value for value in values]


class _Written:
    """A statement whose values, numbers, texts and moments that stand in a filter by themselves, are put in each time.

    `by_keys`: it asks for a few rows by their keys, so that PostgreSQL too needs to plan it only once
    (`models.prepared`).
    """

    def __init__(self, build: Callable[..., QuerySet[Any, Any]], *, by_keys: bool = False) -> None:
        self._build, self._by_keys = build, by_keys
        self._written = lru_cache(maxsize=64)(self._write)

    def _compiler(self, *values: Value) -> Any:
        return self._build(*values).query.get_compiler(connection=connection)

    def _converters(self, _compiler: Any) -> Any:
        """What makes values of Python of the columns that the compiler's statement gives."""

    def _cursor(self) -> Any:
        if not self._by_keys or connection.vendor != "postgresql" or connection.connection is None:
            return connection.cursor()
        from galleries.models import prepared  # only where there is PostgreSQL, whose library it loads

        return prepared.cursor(connection)

    def _of(self, *values: Value) -> tuple[str, tuple[Any, ...], Any, Any]:
        """(SQL, its values, what composed it, what reads its columns)."""
        sql, places, *reading = self._written(connection.vendor, tuple(map(type, values)))
        asked = _adapted(values)
        return sql, tuple(asked[place] if place is not None else plain for place, plain in places), *reading

    def _write(self, _vendor: str, kinds: tuple[type, ...]) -> tuple[str, list[tuple[int | None, Any]], Any, Any]:
        """The SQL, and of each of its values its place among those asked with, or what it always is."""
        values = [_stand(kind, nth) for nth, kind in enumerate(kinds)]
        compiler, stands = self._compiler(*values), _adapted(values)
        sql, values = compiler.as_sql()
        places = [(stands.index(value) if value in stands else None, value) for value in values]
        missing = set(range(len(stands))) - {place for place, _plain in places}
        if missing:
            raise ValueError(f"The values in places {sorted(missing)} do not stand in the question by themselves.")
        return sql, places, compiler, self._converters(compiler)


class Compiled(_Written):
    """`build` gets as many values as are asked with and gives a query set's `values_list`."""

    def __call__(self, *values: Value) -> list[tuple[Any, ...]]:
        """The rows. Raises what the database raises."""
        sql, params, compiler, converters = self._of(*values)
        with self._cursor() as cursor:
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

    def __init__(self, build: Callable[..., QuerySet[M]], *, by_keys: bool = False) -> None:
        super().__init__(build, by_keys=by_keys)

    def __call__(self, *values: Value) -> list[M]:
        """The instances. Raises what the database raises."""
        sql, params, compiler, reading = self._of(*values)
        with self._cursor() as cursor:
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

    def first(self, *values: Value) -> M | None:
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

    def __init__(self, build: Callable[..., QuerySet[Any, Any]], *, by_keys: bool = False, **changes: Any) -> None:
        super().__init__(build, by_keys=by_keys)
        self._changes = changes

    def _compiler(self, *values: Value) -> Any:
        query = cast(UpdateQuery, self._build(*values).query.chain(UpdateQuery))
        query.add_update_values(self._changes)
        return query.get_compiler(connection=connection)

    def __call__(self, *values: Value) -> int:
        """How many rows were changed. Raises what the database raises."""
        sql, params, *_reading = self._of(*values)
        with self._cursor() as cursor:
            cursor.execute(sql, params)
            return int(cursor.rowcount)


class CompiledDelete(CompiledUpdate):
    """`build` gives the query set of the rows that go: of a table whose rows nothing else hangs on."""

    def _compiler(self, *values: Value) -> Any:
        query = self._build(*values).query.chain(DeleteQuery)
        return query.get_compiler(connection=connection)


class CompiledInsert(Generic[M]):
    """Adds a row to the model's table. Not asked: what the model's own `save` does besides.

    `once`: where one of its unique values is there already, nothing is done, and nothing breaks.
    """

    def __init__(self, model: type[M], *, once: bool = False) -> None:
        self._model, self._once = model, once
        self._fields = [field for field in model._meta.concrete_fields if not field.primary_key]
        self._written = lru_cache(maxsize=2)(self._write)

    def __call__(self, instance: M) -> bool:
        """Whether it was added; it has its key then. Raises what the database raises."""
        values = [field.get_db_prep_save(field.pre_save(instance, True), connection) for field in self._fields]
        with connection.cursor() as cursor:
            cursor.execute(self._written(connection.vendor), values)
            row = cursor.fetchone()
        if row is None:
            return False
        instance.pk, instance._state.adding, instance._state.db = row[0], False, connection.alias
        return True

    def _write(self, _vendor: str) -> str:
        query = InsertQuery(self._model, on_conflict=OnConflict.IGNORE if self._once else None)
        query.insert_values(self._fields, [self._model()])
        compiler = query.get_compiler(connection=connection)
        compiler.returning_fields = [self._model._meta.pk]
        ((sql, values),) = compiler.as_sql()
        if len(values) != len(self._fields):
            raise ValueError(f"Not every column of {self._model.__name__} takes a value as it stands.")
        return str(sql)


class CompiledSave(Generic[M]):
    """Writes these columns of a row that is there, found by its key, as they stand in the instance. Not done: what the
    model's own `save` does besides."""

    def __init__(self, model: type[M], *names: str) -> None:
        self._model = model
        self._fields = [cast("Field[Any, Any]", model._meta.get_field(name)) for name in names]

    def __call__(self, instance: M) -> int:
        """How many rows were changed. Raises what the database raises."""
        values = [field.get_db_prep_save(getattr(instance, field.attname), connection) for field in self._fields]
        with connection.cursor() as cursor:
            cursor.execute(self._sql(connection.vendor), [*values, instance.pk])
            return int(cursor.rowcount)

    @lru_cache(maxsize=2)  # noqa: B019 - as many instances as the code has statements
    def _sql(self, _vendor: str) -> str:
        quote, meta = connection.ops.quote_name, self._model._meta
        sets = ", ".join(f"{quote(str(field.column))} = %s" for field in self._fields)
        return f"UPDATE {quote(meta.db_table)} SET {sets} WHERE {quote(str(meta.pk.column))} = %s"  # noqa: S608  # nosec B608


def partial(model: type[M], *names: str) -> Callable[[Sequence[Any]], M]:
    """What makes an instance of the values of these columns, in their order (a longer row's rest is left out).

    No default is worked out for the other columns, which takes ten times as long as all else: whoever reads one of
    them has the database asked for it.
    """
    place = {"pk": model._meta.pk.attname}
    attributes = [place.get(name, name) for name in names]
    columns = [field.attname for field in model._meta.concrete_fields if field.attname in attributes]
    order, known = [attributes.index(column) for column in columns], frozenset(columns)
    if len(columns) != len(names):
        raise ValueError(f"{sorted(set(attributes) - known)} are no columns of {model.__name__}.")
    return lambda row: model.from_db(connection.alias, known, [row[at] for at in order])
