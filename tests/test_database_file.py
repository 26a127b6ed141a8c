"""What is deleted leaves nothing in the database's file: read as bytes, past every driver."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from galleries.steps.keeping import erase
from portal.database import SQLITE_OPTIONS

WORDS = "crown and chin of somebody who asked to be forgotten"


def filled(path: Path, *setup: str) -> sqlite3.Connection:
    """A file with many rows that say WORDS, all deleted again."""
    made = sqlite3.connect(path, isolation_level=None)
    for line in setup:
        made.execute(line)
    made.execute("CREATE TABLE reading (pk INTEGER PRIMARY KEY, text TEXT)")
    made.executemany("INSERT INTO reading (text) VALUES (?)", [(f"{WORDS} {n}",) for n in range(500)])
    made.execute("DELETE FROM reading")
    return made


def left_in(folder: Path) -> int:
    return sum(path.read_bytes().count(WORDS.encode()) for path in folder.iterdir())


def test_deleted_rows_are_overwritten_in_the_file(tmp_path: Path) -> None:
    plain, ours = tmp_path / "plain", tmp_path / "ours"
    plain.mkdir()
    ours.mkdir()
    filled(plain / "db", "PRAGMA secure_delete=OFF").close()
    assert left_in(plain) > 100  # what a file keeps when nobody asks it not to
    setup = [line for line in SQLITE_OPTIONS["init_command"].split(";") if line.strip()]
    made = filled(ours / "db", "PRAGMA secure_delete=OFF", *setup)
    assert left_in(ours) > 0  # the log still holds the pages as they were
    made.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert left_in(ours) == 0
    made.close()


@pytest.mark.django_db(transaction=True)
def test_an_erasure_empties_the_log() -> None:
    said: list[str] = []

    def heard(run: Any, sql: str, *rest: Any) -> Any:
        said.append(sql)
        return run(sql, *rest)

    with connection.execute_wrapper(heard):
        erase._clear_log()
    # a database server clears its own dead rows
    assert said == (["PRAGMA wal_checkpoint(TRUNCATE)"] if connection.vendor == "sqlite" else [])
