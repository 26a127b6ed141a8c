"""An earlier release's remains: its rows in a database at its own migrations, its files in the store.

Files of `releases/` are written by `make_release.py`. A database of our own is made for it beside the tests' one, on
either engine, and stands in its place for the time being.
"""

from __future__ import annotations

import base64
import hashlib
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from galleries import storage

FOLDER = Path(__file__).parent / "releases"
RELEASES = sorted(path.stem for path in FOLDER.glob("*.json"))


def file(release: str) -> Path:
    return FOLDER / f"{release}.json"


@cache
def remains(release: str) -> dict[str, Any]:
    return json.loads(file(release).read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def names_of(release: str) -> dict[str, Any]:
    """`slugs` by stage, `links` by person: what the release's people hold in their hands."""
    return remains(release)["names"]  # type: ignore[no-any-return]


@contextmanager
def standing_in(name: str) -> Iterator[None]:
    """All queries go to the database of this name, which must exist."""
    own = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = name
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = own


def create(name: str, like: str | None = None) -> None:
    """A database, empty or a copy of another that nobody is connected to."""
    if connection.vendor == "sqlite":
        Path(name).unlink(missing_ok=True)
        if like is not None:
            shutil.copyfile(like, name)
        return
    with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')
        cursor.execute(f'CREATE DATABASE "{name}"' + (f' TEMPLATE "{like}"' if like else ""))


def drop(name: str) -> None:
    if connection.vendor == "sqlite":
        for path in Path(name).parent.glob(Path(name).name + "*"):
            path.unlink()
        return
    with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute(f'DROP DATABASE IF EXISTS "{name}"')


def load_rows(release: str) -> None:
    """Migrate as far as the release had come, and put its rows there."""
    past = remains(release)
    executor = MigrationExecutor(connection)
    executor.loader = MigrationLoader(connection, replace_migrations=False)  # one by one, as they were then
    target = ("galleries", past["migration"])
    others = [node for node in executor.loader.graph.leaf_nodes() if node[0] != "galleries"]
    state = executor.migrate([target, *others])
    assert MigrationExecutor(connection).loader.applied_migrations.keys() >= {target}
    with transaction.atomic():
        for row in past["rows"]:
            _put(state.apps.get_model(row["model"]), row)
    tables = {state.apps.get_model(row["model"]) for row in past["rows"]}
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(tables)):
            cursor.execute(statement)


def _put(model: type[models.Model], row: dict[str, Any]) -> None:
    """One row as it was, moments that a model sets by itself included."""
    values: dict[str, Any] = {model._meta.pk.attname: row["pk"]}
    many: dict[str, list[int]] = {}
    for name, value in row["fields"].items():
        field = model._meta.get_field(name)
        if field.many_to_many:
            many[name] = value
        elif isinstance(field, models.ForeignKey):
            values[field.attname] = value
        else:
            values[field.attname] = field.to_python(value)  # type: ignore[union-attr]
    instance = model(**values)
    instance.save_base(raw=True, force_insert=True)
    for name, keys in many.items():
        getattr(instance, name).set(keys)


def migrate_to_now() -> None:
    call_command("migrate", verbosity=0, interactive=False)


def load_files(release: str) -> None:
    past = remains(release)
    for key, digest in past["files"].items():
        data = base64.b64decode(past["contents"][digest])
        assert hashlib.sha256(data).hexdigest() == digest
        storage.put(storage.private(), key, data)
