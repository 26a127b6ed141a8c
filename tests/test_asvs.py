"""The table of the verification standard (deploy/asvs.md) speaks of tests that are there, and of each number once."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "deploy" / "asvs.md").read_text()
ROWS = [line for line in TEXT.splitlines() if re.match(r"\| \d+\.\d+\.\d+.* \| [12]", line)]


def names_here() -> set[str]:
    found = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                found.add(node.name)
    return found


def missing(text: str) -> list[str]:
    return sorted(set(re.findall(r"`(test_\w+)`", text)) - names_here())


def test_every_test_of_the_table_exists() -> None:
    assert not missing(TEXT)


def test_a_test_that_has_gone_is_seen() -> None:
    assert missing("yes | `test_of_something_else`") == ["test_of_something_else"]


@pytest.mark.parametrize("path", sorted(set(re.findall(r"`((?:deploy|tests|galleries)/[\w./-]+)`", TEXT))))
def test_every_file_of_the_table_exists(path: str) -> None:
    assert (ROOT / path).exists()


def test_each_number_stands_once_with_its_level_and_whether_it_is_met() -> None:
    numbers = []
    for row in ROWS:
        first, level, asked, met, how = (cell.strip() for cell in row.strip("|").split("|"))
        numbers += re.findall(r"\d+\.\d+\.\d+", first)
        assert set(level.split(", ")) <= {"1", "2"}, row
        assert met in {"yes", "part", "no"}, row
        assert min(len(asked), len(how)) > 4, row
    assert len(numbers) == len(set(numbers))
    assert len(ROWS) > 100


def test_no_script_writes_markup() -> None:
    """What the table says of the scripts: text is set as text."""
    scripts = list((ROOT / "galleries" / "static").rglob("*.js"))
    assert len(scripts) > 20
    writes = re.compile(r"(?:inner|outer)HTML\s*\+?=(?!=)|insertAdjacentHTML|document\.write|\beval\(|new Function")
    assert not [path.name for path in scripts if writes.search(path.read_text())]
