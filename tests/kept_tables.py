"""On a desk the migrated tables are kept and copied, until a migration changes: seconds less for each run of a test.

In CI every run migrates.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from pathlib import Path

import django
from django.conf import settings
from django.db import connection

ROOT = Path(__file__).resolve().parents[1]


def kept() -> Path | None:
    """Where they are kept for today's migrations; None where they are not."""
    if os.environ.get("CI") or "TESTS_DATABASE" in os.environ:
        return None
    digest = hashlib.sha256(django.__version__.encode())
    for file in sorted((ROOT / "galleries/migrations").glob("*.py")):
        digest.update(file.name.encode() + file.read_bytes())
    return ROOT / ".cache" / f"tables-{digest.hexdigest()[:24]}.sqlite3"


def take() -> bool:
    """Put the kept tables where the tests' own will be; whether there were any."""
    source = kept()
    if source is None or not source.is_file():
        return False
    shutil.copyfile(source, settings.DATABASES["default"]["TEST"]["NAME"])
    return True


def keep() -> None:
    """The tests' own tables, migrated and still empty, for the next run."""
    target = kept()
    if target is None or target.exists():
        return
    target.parent.mkdir(exist_ok=True)
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(part)])
    part.replace(target)
