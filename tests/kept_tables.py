"""The migrated tables and static files are made once and copied: seconds less for each process of a run, and on a
desk for each run.

On a desk they are kept until a migration changes. In CI nothing is kept from one run to the next: `deploy/test` names
a folder of the run (TESTS_TABLES), whose first process migrates. On PostgreSQL a migrated database is copied as a
template (tests/services/test_postgresql.py).
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import django
from django.conf import settings

ROOT = Path(__file__).resolve().parents[1]


def folder() -> Path | None:
    """Where they are kept; None where every process migrates for itself."""
    if "TESTS_DATABASE" in os.environ:
        return None
    if "TESTS_TABLES" in os.environ:
        return Path(os.environ["TESTS_TABLES"])
    return None if os.environ.get("CI") else ROOT / ".cache"


def kept(rows: Path | None = None) -> Path | None:
    """The file of today's migrations; with the rows of this file, brought through them."""
    place = folder()
    if place is None:
        return None
    digest = hashlib.sha256(django.__version__.encode())
    for file in sorted((ROOT / "galleries/migrations").glob("*.py")):
        digest.update(file.name.encode() + file.read_bytes())
    if rows is not None:
        digest.update(rows.read_bytes())
    return place / f"tables-{digest.hexdigest()[:24]}.sqlite3"


@contextmanager
def one_at_a_time(what: str = "tables") -> Iterator[None]:
    """Processes that start together: one makes the tables (or `what`), the others wait and copy them."""
    place = folder()
    if place is None:
        yield
        return
    place.mkdir(exist_ok=True)
    with (place / f"{what}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def take() -> bool:
    """Put the kept tables where the tests' own will be; whether there were any."""
    source = kept()
    if source is None or not source.is_file():
        return False
    shutil.copyfile(source, settings.DATABASES["default"]["TEST"]["NAME"])
    return True


def keep() -> None:
    """The tests' own tables, migrated and still empty, for the next process."""
    keep_copy(settings.DATABASES["default"]["TEST"]["NAME"])


def keep_copy(tables: Path | str, rows: Path | None = None) -> None:
    """The same of any file of tables just migrated."""
    target = kept(rows)
    if target is None or target.exists():
        return
    target.parent.mkdir(exist_ok=True)
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    with closing(sqlite3.connect(tables, isolation_level=None)) as source:
        source.execute("VACUUM INTO ?", [str(part)])
    part.replace(target)


def give_static(target: Path, collect: Callable[[], object]) -> None:
    """A whole site's static files: `collect` makes them once (compressing takes seconds), the next copies them."""
    place = folder()
    if place is None:
        collect()
        return
    digest = hashlib.sha256((ROOT / "portal/static.py").read_bytes())
    for file in sorted(path for path in (ROOT / "galleries/static").rglob("*") if path.is_file()):
        digest.update(str(file.relative_to(ROOT)).encode() + file.read_bytes())
    source = place / f"static-{digest.hexdigest()[:24]}"
    with one_at_a_time():
        if not source.is_dir():
            collect()
            part = source.with_name(f"{source.name}.part")
            shutil.rmtree(part, ignore_errors=True)
            shutil.copytree(target, part)
            part.replace(source)
            return
    shutil.copytree(source, target, dirs_exist_ok=True)


def give(target: Path, rows: Path | None = None) -> bool:
    """A whole site's tables, migrated already; whether there were any to give."""
    source = kept(rows)
    if source is None or not source.is_file():
        return False
    target.touch(0o600)
    shutil.copyfile(source, target)
    return True
