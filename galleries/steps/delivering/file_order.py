"""What one file of a delivery hangs on: typed, of a named version, kept as JSON with the delivery and read back.

Two digests say what a later delivery has to make again: `picture` changes with what makes the picture, `written` with
what is only written into the file. A new wording of the licence gives new bytes, and the same picture.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from typing import Any

from galleries.errors import BadInput
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.versions import VERSIONS
from galleries.models import Delivery
from galleries.steps.delivering import sizes
from galleries.told import told
from galleries.words.steps import Code

VERSION = 3
# Of the order, of what its metadata say, and of the size's numbers: what makes the picture. How the picture was made
# is a fact of the picture, though it stands in the metadata. `safe` and `min_ppi` decide its warnings.
PICTURE = ("source", "crop", "tilt", "monochrome", "strip", "icc")
PICTURE_CAPTION = ("digital_source_type",)
PICTURE_SIZE = (
    *("use", "width", "height", "ppi", "bleed", "border", "safe", "byte_cap", "file_format", "bits", "profile"),
    *("min_ppi", "name_strip", "quality"),
)


@dataclass(frozen=True)
class Caption:
    """What the metadata say of this picture beside the licence. `captured_at`: the camera's clock, ISO 8601, or ''."""

    title: str
    description: str
    alt_text: str
    job_id: str
    digital_source_type: str
    document_id: str
    original_document_id: str
    image_guid: str
    captured_at: str


@dataclass(frozen=True)
class FileOrder:
    """One file to make. `source` is the SHA-256 of the file under `key`; `crop` x, y, width, height in its pixels;
    `tilt` in degrees; `strip` the name below the picture or ''; `icc` the key of a lab's profile or ''; `frame` the
    SHA-256 of the camera's file and `credentials` the fingerprint of the certificate that the file is signed with, both
    '' where it is not signed."""

    final: int
    size: str
    name: str
    key: str
    source: str
    crop: Rect
    tilt: float
    monochrome: bool
    strip: str
    icc: str
    said: Caption
    frame: str = ""
    credentials: str = ""
    # '' where an earlier version does not tell the two apart: then it equals no other.
    picture: str = ""
    written: str = ""

    @property
    def recipe(self) -> str:
        """One digest of all that the file hangs on. Its bytes are the same each time only where it is not signed."""
        signed = [self.frame, self.credentials] if self.credentials else []
        return _digest([self.picture, self.written, *signed])

    def to_json(self) -> dict[str, Any]:
        """Plain values, as `from_json` reads them."""
        return {"version": VERSION, **asdict(self), "crop": self.crop.as_list()}

    def with_digests(self, numbers: Mapping[str, Any], terms: Mapping[str, Any]) -> FileOrder:
        """The same, its digests filled in; `numbers` of its size, `terms` of the licence, both as plain JSON."""
        plain, caption = {**self.to_json(), "tilt": float(self.tilt)}, asdict(self.said)
        spec = asdict(sizes.spec_from(dict(numbers)))
        spec["bleed"] = float(spec["bleed"])  # 0 and 0.0 are the same bleed
        makes = [
            VERSIONS["final"],
            {name: plain[name] for name in PICTURE},
            {name: caption.pop(name) for name in PICTURE_CAPTION},
            {name: spec[name] for name in PICTURE_SIZE},
        ]
        return replace(self, picture=_digest(makes), written=_digest([caption, terms]))


def of(delivery: Delivery) -> list[FileOrder]:
    """What a delivery is made from, file by file; one asked for by an earlier release included.

    Raises:
        BadInput: naming delivery, file and field.
    """
    if not isinstance(delivery.orders, list):
        raise _strange(delivery.number, "", "orders")
    numbers = {slug: sizes.with_names_of_today(size) for slug, size in delivery.sizes.items()}
    return [from_json(entry, delivery.number, numbers, delivery.licence.terms) for entry in delivery.orders]


def from_json(
    entry: object, delivery: int, numbers: Mapping[str, Mapping[str, Any]], terms: Mapping[str, Any]
) -> FileOrder:
    """An order as it was written, by this release or an earlier one.

    `delivery` is the number people know it by; `numbers` and `terms` what it keeps of its sizes and its licence.

    Raises:
        BadInput: naming delivery, file and field.
    """
    if not isinstance(entry, dict):
        raise _strange(delivery, "", "orders")
    values = dict(entry)
    name = values.get("name")
    file = name[:160] if isinstance(name, str) else ""
    version = values.pop("version", 1)
    if type(version) is not int or not 1 <= version <= VERSION:
        raise BadInput(told(Code.ORDER_VERSION, number=delivery, file=file or "?", version=str(version)[:20]))
    whole = values.pop("recipe", "") if version == 1 else ""
    if version == 1:
        values = {"icc": "", **values, "picture": "", "written": ""}
    if version <= 2:  # before finals were signed
        values = {**values, "frame": "", "credentials": ""}
    bad = _bad_field(values, numbers)
    if bad:
        raise _strange(delivery, file, bad)
    order = FileOrder(**{**values, "crop": Rect(*values["crop"]), "said": Caption(**values["said"])})
    return _of_version_1(order, whole, numbers[order.size], terms) if version == 1 else order


def _of_version_1(order: FileOrder, whole: str, numbers: Mapping[str, Any], terms: Mapping[str, Any]) -> FileOrder:
    """Version 1 had one digest over everything. Where today's recipe still gives that one, the picture is today's."""
    words = {"title", "source", "source_kind", "checked"}
    plain = order.to_json()
    parts = {name: plain[name] for name in (*PICTURE, "size", "said")}
    bare = {name: value for name, value in numbers.items() if name not in words}
    if whole == _digest([VERSIONS["final"], parts, bare, terms]):
        return order.with_digests(numbers, terms)
    return replace(order, written=whole if isinstance(whole, str) else "")


def keys_in(entry: object) -> list[object]:
    """What a written order names as keys of the store, before anything of it is believed."""
    return [entry.get("key"), entry.get("icc", "")] if isinstance(entry, dict) else [None]


def profile_key(entry: object) -> str:
    """The key of the lab's profile that a written order names, or ''; whatever else is wrong with the order."""
    return str(keys_in(entry)[-1] or "")


def renumbered(entries: list[dict[str, Any]], finals: Mapping[int, int]) -> list[dict[str, Any]]:
    """Written orders of whichever version, their finals under new numbers."""
    return [{**entry, "final": finals[entry["final"]]} for entry in entries]


def _digest(parts: object) -> str:
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _text(value: object) -> bool:
    return isinstance(value, str)


def _number(value: object) -> bool:
    return type(value) in (int, float) and math.isfinite(float(value))  # type: ignore[arg-type]


def _sha(value: object) -> bool:
    return isinstance(value, str) and re.fullmatch(r"[0-9a-f]{64}", value) is not None


def _sha_or_none(value: object) -> bool:
    return value == "" or _sha(value)


def _crop(value: object) -> bool:
    """Whole pixels with an area; whether it lies in the picture is seen when it is cut."""
    return isinstance(value, list) and [type(one) for one in value] == [int] * 4 and min(value[2:]) >= 1


def _caption(value: object) -> bool:
    names = {field.name for field in fields(Caption)}
    if not isinstance(value, dict) or set(value) != names or not all(isinstance(one, str) for one in value.values()):
        return False
    try:
        return not value["captured_at"] or bool(datetime.fromisoformat(value["captured_at"]))
    except ValueError:
        return False


_WELL: dict[str, Callable[[Any], bool]] = {
    "final": lambda value: type(value) is int and value > 0,
    "size": _text,
    "name": lambda value: isinstance(value, str) and re.fullmatch(r"[^/\\\0]+\.(jpg|tif)", value) is not None,
    "key": lambda value: isinstance(value, str) and value != "",
    "source": _sha,
    "crop": _crop,
    "tilt": _number,
    "monochrome": lambda value: type(value) is bool,
    "strip": _text,
    "icc": _text,
    "said": _caption,
    "frame": _sha_or_none,
    "credentials": _sha_or_none,
    "picture": _sha_or_none,
    "written": _sha_or_none,
}


def _bad_field(values: dict[str, Any], numbers: Mapping[str, Mapping[str, Any]]) -> str:
    """The first field that is missing, unknown or not of its kind; '' when all is well."""
    for name, well in _WELL.items():
        if name not in values or not well(values[name]):
            return name
    if values["size"] not in numbers:
        return "size"
    return next((str(name)[:40] for name in values if name not in _WELL), "")


def _strange(delivery: int, file: str, field: str) -> BadInput:
    return BadInput(told(Code.ORDER_STRANGE, number=delivery, file=file or "?", field=field))
