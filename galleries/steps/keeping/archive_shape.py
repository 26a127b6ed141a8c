"""What an archive's description must look like before anything of it is believed: a stranger may have written it."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from typing import Any

from django.db import models
from django.utils.translation import gettext as _

from galleries import models as m
from galleries.errors import BadInput
from galleries.steps.delivering import file_order
from galleries.steps.keeping import inventory
from galleries.steps.keeping.archive_file import PACKED, ROWS, SUMS

MOST_FILES = 200_000
MOST_ROWS = 2_000_000
MOST_BYTES = 2 * 10**12  # of all files together, as the description says
UID, SHA = re.compile(r"[0-9a-f]{32}"), re.compile(r"[0-9a-f]{64}")
# Fields that name a file of the store; each may name one of this sitting only.
KEYS = {"key", "proof_key", "archive_key", "large_key", "middle_key", "small_key", "print_profile_key"}


def check(head: dict[str, Any], tables: dict[str, type[models.Model]]) -> None:
    """
    Raises:
        BadInput: naming the part that is missing or not of its kind.
    """
    _is(head, "uid", str, UID.fullmatch)
    for name, kind in (("rows", dict), ("files", list), ("people", dict), ("sizes", dict), ("studio", list)):
        _is(head, name, kind)
    _rows(head, tables)
    _files(head)
    for part in ("people", "sizes"):
        for number, values in head[part].items():
            if not number.isdigit() or not isinstance(values, dict):
                raise _strange(f"{part} {number}")


def entries(archive: zipfile.ZipFile, head: dict[str, Any]) -> None:
    """Every entry of the file is one the description names, once, plain, and as large as it says.

    Raises:
        BadInput: a link, an encrypted entry, one with another size, a repeated or an unknown one.
    """
    sizes = {f"{item['store']}/{item['key']}": item["bytes"] for item in head["files"]}
    known, seen = {*sizes, ROWS, SUMS}, set[str]()
    for info in archive.infolist():
        if info.filename in seen or info.filename not in known:
            raise _strange(info.filename)
        seen.add(info.filename)
        kind = info.external_attr >> 28
        if kind not in {0, 8} or info.flag_bits & 1 or info.compress_type not in PACKED:  # a link, a device; encrypted
            raise _strange(info.filename)
        if info.filename in sizes and info.file_size != sizes[info.filename]:
            raise _strange(info.filename)
    missing = sorted(set(sizes) - seen)
    if missing:
        raise BadInput(_("The archive is damaged at %s.") % missing[0])


def _rows(head: dict[str, Any], tables: dict[str, type[models.Model]]) -> None:
    rows = head["rows"]
    strange = set(rows) - set(tables)
    if strange:
        raise _strange(sorted(strange)[0])
    if not isinstance(rows.get("Sitting"), list) or len(rows["Sitting"]) != 1:
        raise _strange("Sitting")
    home, count = f"sittings/{head['uid']}/", 0
    for name, table in rows.items():
        if not isinstance(table, list):
            raise _strange(name)
        for row in table:
            count += 1
            _row(name, row, tables[name], home)
            if tables[name] is m.JournalLine:
                _line(row["fields"], rows["Sitting"][0])
    if count > MOST_ROWS:
        raise _strange("rows")
    sitting = rows["Sitting"][0]["fields"]
    if str(sitting.get("uid", "")).replace("-", "") != head["uid"] or not isinstance(sitting.get("slug"), str):
        raise _strange("Sitting")


def _row(name: str, row: object, model: type[models.Model], home: str) -> None:
    if not isinstance(row, dict) or row.get("model") != model._meta.label_lower:
        kind = row.get("model") if isinstance(row, dict) else type(row).__name__
        raise BadInput(_("The archive holds a row that does not belong to a sitting: %s.") % kind)
    fields = row.get("fields")
    if type(row.get("pk")) is not int or not 0 < row["pk"] < 2**62 or not isinstance(fields, dict):
        raise _strange(name)
    for field in KEYS & set(fields):
        value = fields[field]
        if value and not _at_home(value, home):
            raise _outside(value)
    for order in fields.get("orders") or () if model is m.Delivery else ():
        for value in file_order.keys_in(order):
            if value != "" and not _at_home(value, home):
                raise _outside(value)


def _line(fields: dict[str, Any], sitting: object) -> None:
    """A line of the journal hangs on this sitting: one that hangs on none would be about an account that is here."""
    own = sitting.get("pk") if isinstance(sitting, dict) else None
    slug = fields.get("sitting_slug")
    if own is None or fields.get("sitting") != own or not isinstance(slug, str) or not slug:
        raise _strange("JournalLine")


def _at_home(value: object, home: str) -> bool:
    return isinstance(value, str) and value.startswith(home) and ".." not in value.split("/")


def _outside(value: object) -> BadInput:
    return BadInput(_("The archive names a file outside its sitting: %s.") % str(value)[:200])


def _files(head: dict[str, Any]) -> None:
    if len(head["files"]) > MOST_FILES:
        raise _strange("files")
    total, names = 0, set()
    for item in head["files"]:
        if not isinstance(item, dict):
            raise _strange("files")
        _is(item, "store", str, lambda value: value in {inventory.PRIVATE, inventory.PROOFS})
        _is(item, "key", str, lambda value: 0 < len(value) <= 200)
        if not _at_home(item["key"], f"sittings/{head['uid']}/"):
            raise _outside(item["key"])
        _is(item, "sha256", str, SHA.fullmatch)
        _is(item, "bytes", int, lambda value: value >= 0)
        if (item["store"], item["key"]) in names:
            raise _strange(item["key"])
        names.add((item["store"], item["key"]))
        total += item["bytes"]
    if total > MOST_BYTES:
        raise _strange("files")


def _is(part: dict[str, Any], name: str, kind: type, well: Callable[[Any], object] = lambda value: True) -> None:
    value = part.get(name)
    if type(value) is not kind or not well(value):
        raise _strange(name)


def _strange(what: str) -> BadInput:
    return BadInput(_("The archive is not as this program writes them, at “%s”; nothing was restored.") % what[:200])
