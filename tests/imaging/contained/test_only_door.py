"""Foreign bytes are decoded behind the door only: every module outside imaging is walked for a way round it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from galleries.imaging.contained.entries import ENTRIES

ROOT = Path(__file__).resolve().parents[3]
IMAGING = "galleries.imaging"
# Functions of imaging that parse or decode bytes, beside those that an entry of the child stands for.
DECODES = {
    *("open_picture", "open_stored", "load_bytes", "read_exif", "read_header", "read_pixels", "read_parts", "sniff"),
    *("make_finals", "open_small", "read_rights", "check", "write_rights", "strip_metadata", "find", "prepare"),
    *("examine", "opened", "on_paper", "check_profile", "paper_view", "reference", "render"),
} | {entry.function.__name__ for entry in ENTRIES.values()}
# Whole rooms that only work on bytes of a file; nobody outside imaging needs them.
ROOMS = ("opening.formats", "opening.exif", "containers", "colour", "output", "rights.read", "rights.engine")


def ways_round(source: str) -> list[str]:
    """Lines that reach a decoder of imaging without the door."""
    tree, modules, found = ast.parse(source), {}, []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.startswith(IMAGING) and not alias.name.endswith(".door"):
                    found.append(f"{node.lineno}: import {alias.name}")
        if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith(IMAGING):
            continue
        inside = (node.module or "")[len(IMAGING) + 1 :]
        for alias in node.names:
            name = alias.asname or alias.name
            whole = f"{inside}.{alias.name}".lstrip(".")
            if whole in {"contained.door", "contained.address", "contained.cage"}:
                continue
            if whole.startswith(ROOMS) or inside.startswith("contained") or alias.name in DECODES:
                found.append(f"{node.lineno}: {whole}")
            modules[name] = whole
    for node in ast.walk(tree):
        whole = modules.get(getattr(getattr(node, "value", None), "id", ""), "")
        if whole and isinstance(node, ast.Attribute) and node.attr in DECODES:
            found.append(f"{node.lineno}: {whole}.{node.attr}")
    return found


def outside() -> list[Path]:
    places = [path for path in (ROOT / "galleries").rglob("*.py") if "imaging" not in path.relative_to(ROOT).parts]
    return sorted([*places, *(ROOT / "portal").rglob("*.py")])


def test_nothing_outside_imaging_decodes_by_itself() -> None:
    found = [
        f"{path.relative_to(ROOT)}:{line}"
        for path in outside()
        for line in ways_round(path.read_text(encoding="utf-8"))
        if path.relative_to(ROOT).parts[1] != "painter"  # paints and reads its own pictures
    ]
    assert not found, "Call these through galleries.imaging.contained.door:\n" + "\n".join(found)


@pytest.mark.parametrize(
    "planted",
    [
        "from galleries.imaging.recipes import make_proof",
        "from galleries.imaging import recipes\nrecipes.make_view(b'')",
        "from galleries.imaging.comparing import match as m\nm.open_small(b'')",
        "from galleries.imaging import rights\nrights.check(b'', None)",
        "def f():\n    from galleries.imaging.opening.exif import read_exif",
        "import galleries.imaging.opening.decode",
        "from galleries.imaging.contained import entries",
    ],
)
def test_a_way_round_is_seen(planted: str) -> None:
    assert ways_round(planted)
