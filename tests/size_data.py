"""The delivery sizes as the data file has them, for tests of arithmetic that need no tables."""

from __future__ import annotations

import json
from dataclasses import fields
from pathlib import Path

from galleries.imaging.framing.sizes import SizeSpec

DATA = Path(__file__).resolve().parent.parent / "galleries" / "data" / "sizes.json"
_FIELDS = {field.name for field in fields(SizeSpec)}


def _spec(entry: dict[str, object]) -> SizeSpec:
    values = {name: value for name, value in entry.items() if name in _FIELDS}
    return SizeSpec(**values, checked=str(entry["checked_on"]))  # type: ignore[arg-type]


SIZES = tuple(_spec(entry) for entry in json.loads(DATA.read_text(encoding="utf-8")))
BY_SLUG = {size.slug: size for size in SIZES}
