"""Migrations as a whole: what they change in rows, they change in the database that is being migrated."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[1] / "galleries/migrations"


@pytest.mark.parametrize("path", sorted(FOLDER.glob("0*.py")), ids=lambda path: path.stem[:4])
def test_rows_are_changed_in_the_database_that_is_migrated(path: Path) -> None:
    """`move-database` migrates a second one: without `using` it would write into the site's own, a second time."""
    assert re.findall(r"\.objects\b(?!\.using\()", path.read_text()) == []
