"""What else a file says in the fields of the IPTC standard, beside its rights record: names and texts as they stand."""

from __future__ import annotations

import re

from galleries.imaging.rights import fields, names
from galleries.imaging.rights.engine import RawMetadata

MOST = 1000  # entries of one file
_PREFIXES = {"iptc": "Iptc4xmpCore", "iptcExt": "Iptc4xmpExt"}
_PART = re.compile(r"([^\[\]]+)(?:\[(\d+)\])?\Z")
_OF_LICENSORS = {part.removeprefix("plus:") for part in fields.LICENSOR_PARTS.values()}

Further = tuple[str, tuple[str, ...]]


def further(raw: RawMetadata) -> tuple[Further, ...]:
    """Each field with a text that `fields` does not know, in the order of the file: its name and its texts.

    The name leads to the place: "Location Shown in the Image 2, City". IIM is asked only where XMP is silent.
    """
    entries: list[Further] = []
    for key, texts in raw.xmp.items():
        place = _place(key)
        full = tuple(text.strip() for text in texts if text.strip())
        if place and full and full != ('type="Struct"',):
            entries.append((place, full))
    for key, texts in raw.iim.items():
        xmp = names.IIM.get(key)
        if xmp is not None and _exiv2_key(xmp) not in raw.xmp:
            entries.append((names.FIELDS[xmp], tuple(text.strip() for text in texts if text.strip())))
    return tuple(entry for entry in entries if entry[1])[:MOST]


def _place(key: str) -> str:
    """The field's name, and those of the parts that lead into it; '' for what is of the record or of no standard."""
    if not key.startswith("Xmp."):
        return ""
    first, *rest = key.removeprefix("Xmp.").split("/")
    prefix, _, local = first.partition(".")
    steps = [f"{_PREFIXES.get(prefix, prefix)}:{local}", *rest]
    words = []
    for depth, step in enumerate(steps):
        match = _PART.match(step)
        if match is None:
            return ""
        name = (names.PARTS.get(match[1]) if depth else None) or names.FIELDS.get(match[1])
        if name is None and depth == 0:
            return ""
        words.append((name or match[1].partition(":")[2]) + (f" {match[2]}" if match[2] else ""))
    if steps[0].startswith(fields.LICENSOR + "[") and steps[-1].removeprefix("plus:") in _OF_LICENSORS:
        return ""
    return ", ".join(words)


def _exiv2_key(xmp: str) -> str:
    prefix, _, local = xmp.partition(":")
    back = {long: short for short, long in _PREFIXES.items()}
    return f"Xmp.{back.get(prefix, prefix)}.{local}"
