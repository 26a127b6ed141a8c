"""A sitting as one self-contained file, and back: originals, retouches, finals, marks, journal, licence, deliveries.

The file is a ZIP (stored, fixed timestamps): `sitting.json` with every row, `SHA256SUMS` for `sha256sum -c`, and the
stored files under `private/` and `proofs/` by their keys. Links, sign-ins and the worker's list are left out: a
restored sitting hands out new links. So are second opinions, which are not the studio's to read; what belongs to a day
of many sitters stays with the day. Caches are left out too: they are made again. So are acts that could be taken back:
they name rows by numbers, which may be others' where it is restored.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

from django.contrib.auth.models import User
from django.core import serializers
from django.db import models
from django.utils.translation import gettext as _

from galleries import models as m
from galleries import plain_json
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput
from galleries.models import Verb
from galleries.steps.keeping import inventory

FORMAT, FORMAT_VERSION = "sitting-archive", 1
ROWS, SUMS = "sitting.json", "SHA256SUMS"
CHUNK = 1 << 20
# Of the description, unpacked; by estimate a sitting of 5,000 frames has 20 MB and a million values.
MOST_ROWS_BYTES, MOST_VALUES = 100_000_000, 10_000_000
# What reading a damaged or made-up ZIP may end in: it breaks off, is encrypted or newer, names what is no text.
BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, UnicodeDecodeError)
PACKED = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
Seen = Callable[[int, int], None]

# In the order in which they can be put back; how each hangs on the sitting.
TABLES: tuple[tuple[type[models.Model], str], ...] = (
    (m.Sitting, "pk"),
    (m.Look, "sitting"),
    (m.Frame, "sitting"),
    (m.RawFile, "frame__sitting"),
    (m.Proof, "frame__sitting"),
    (m.Refusal, "sitting"),
    (m.Invite, "sitting"),
    (m.Round, "sitting"),
    (m.ExtraTerms, "sitting"),
    (m.Statement, "sitting"),
    (m.Mark, "frame__sitting"),
    (m.Standing, "frame__sitting"),
    (m.Remark, "frame__sitting"),
    (m.ReferencePicture, "sitting"),
    (m.PlanComment, "sitting"),
    (m.Final, "sitting"),
    (m.Version, "final__sitting"),
    (m.Approval, "version__final__sitting"),
    (m.PinnedNote, "final__sitting"),
    (m.StrayRetouch, "sitting"),
    (m.RetoucherAcceptance, "sitting"),
    (m.RetoucherReceipt, "sitting"),
    (m.Crop, "final__sitting"),
    (m.Licence, "sitting"),
    (m.Acceptance, "licence__sitting"),
    (m.UsageRequest, "sitting"),
    (m.Delivery, "sitting"),
    (m.DeliveredFile, "delivery__sitting"),
    (m.Receipt, "delivery__sitting"),
    (m.OwnCopy, "sitting"),
    (m.Letter, "sitting"),
    (m.JournalLine, "sitting"),
)
# What a sitting leans on without owning it, found again by a name of its own.
PEOPLE = ("username", "first_name", "last_name", "email")


@dataclass(frozen=True)
class Written:
    path: Path
    sha256: str
    bytes: int
    files: int
    rows: int


def rows_of(sitting: m.Sitting) -> dict[str, list[dict[str, Any]]]:
    """Every row as plain JSON by table; the order is that of the ids."""
    by_table: dict[str, list[dict[str, Any]]] = {}
    for model, path in TABLES:
        rows = model._base_manager.filter(**{path: sitting.pk}).order_by("pk")
        by_table[model.__name__] = json.loads(serializers.serialize("json", rows))
    return by_table


def write(sitting: m.Sitting, target: Path, by: Visitor, seen: Seen | None = None) -> Written:
    """Write the sitting to `target` whole or not at all; the sitting itself stays as it is.

    Raises:
        Refused: not this person's to do.
        BadInput: there is such a file already, or a stored file is missing or damaged (see `manage.py verify`).
    """
    require(by, Act.RUN, sitting, _("Only the sitting's photographer archives it."))
    if target.exists():
        raise BadInput(_("There is a file %s already.") % target)
    places = sorted(inventory.expected(sitting).items())
    with NamedTemporaryFile(dir=target.parent, prefix=f".{target.name}.", delete=False) as out:
        part = Path(out.name)
        try:
            with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
                files = [_add(archive, place, digest, seen, n, len(places)) for n, (place, digest) in enumerate(places)]
                head = json.dumps(_head(sitting, files), sort_keys=True, ensure_ascii=False, indent=1).encode()
                archive.writestr(_info(ROWS), head)
                sums = [(hashlib.sha256(head).hexdigest(), ROWS)]
                sums += [(item["sha256"], f"{item['store']}/{item['key']}") for item in files]
                archive.writestr(_info(SUMS), "".join(f"{digest}  {name}\n" for digest, name in sums))
            out.flush()
            size = out.tell()
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    with open(target, "rb") as whole:
        digest = hashlib.file_digest(whole, "sha256").hexdigest()
    m.JournalLine.write(sitting, by.who, Verb.ARCHIVED_TO_A_FILE, target.name, sha256=digest, bytes=size)
    return Written(target, digest, size, len(files), sum(len(rows) for rows in rows_of(sitting).values()))


def _head(sitting: m.Sitting, files: list[dict[str, Any]]) -> dict[str, Any]:
    rows = rows_of(sitting)
    used = m.DeliverySize.objects.filter(crops__final__sitting=sitting).distinct()
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "uid": sitting.uid.hex,
        "rows": rows,
        "files": files,
        "people": {str(user.pk): {name: getattr(user, name) for name in PEOPLE} for user in _people_of(sitting)},
        "sizes": {str(size.pk): _size_row(size) for size in used},
        "studio": json.loads(serializers.serialize("json", m.Studio.objects.order_by("pk")[:1])),
    }


def _people_of(sitting: m.Sitting) -> list[User]:
    wanted = {sitting.photographer_id, *sitting.colleagues.values_list("pk", flat=True)}
    wanted |= set(m.Approval.objects.filter(version__final__sitting=sitting).values_list("user", flat=True))
    wanted |= set(sitting.rounds.values_list("closed_by_user", flat=True))
    return list(User.objects.filter(pk__in=wanted - {None}).order_by("pk"))


def _size_row(size: m.DeliverySize) -> dict[str, Any]:
    row: dict[str, Any] = json.loads(serializers.serialize("json", [size]))[0]["fields"]
    return row


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    info.create_system = 3
    info.external_attr = 0o644 << 16
    return info


def _add(
    archive: zipfile.ZipFile, place: inventory.Place, digest: str, seen: Seen | None, number: int, of: int
) -> dict[str, Any]:
    where, key = place
    store, sha, size = inventory.store(where), hashlib.sha256(), 0
    if not store.exists(key):
        raise BadInput(_("The stored file %s is missing; see manage.py verify.") % f"{where}:{key}")
    info = _info(f"{where}/{key}")
    info.file_size = store.size(key)
    with store.open(key, "rb") as source, archive.open(info, "w") as target:
        while chunk := source.read(CHUNK):
            sha.update(chunk)
            size += len(chunk)
            target.write(chunk)
    if digest and sha.hexdigest() != digest:
        raise BadInput(_("The stored file %s is damaged; see manage.py verify.") % f"{where}:{key}")
    if seen is not None:
        seen(number + 1, of)
    return {"store": where, "key": key, "sha256": sha.hexdigest(), "bytes": size}


def opened(path: Path) -> zipfile.ZipFile:
    """
    Raises:
        BadInput: it is no ZIP that can be read.
        OSError: there is no such file.
    """
    try:
        return zipfile.ZipFile(path)
    except BROKEN as error:
        raise BadInput(_("This file is no archive of a sitting.")) from error


def read_head(archive: zipfile.ZipFile) -> dict[str, Any]:
    """The archive's description. Raises `BadInput` when it is none of ours."""
    try:
        info = archive.getinfo(ROWS)
        if info.file_size > MOST_ROWS_BYTES or info.compress_type not in PACKED:
            raise BadInput(_("This file is no archive of a sitting."))
        head: dict[str, Any] = plain_json.loads(archive.read(ROWS), most=MOST_VALUES)
        if (head["format"], head["format_version"]) != (FORMAT, FORMAT_VERSION):
            raise BadInput(_("This archive is of a kind this program cannot read."))
    except (KeyError, ValueError, TypeError, *BROKEN) as error:
        raise BadInput(_("This file is no archive of a sitting.")) from error
    return head


def checked_files(archive: zipfile.ZipFile, head: dict[str, Any], seen: Seen | None = None) -> Iterator[dict[str, Any]]:
    """Every file of the archive, its digest compared. Raises `BadInput` naming the first that does not fit."""
    home = f"sittings/{head['uid']}/"
    for number, item in enumerate(head["files"], 1):
        key, where = item["key"], item["store"]
        if where not in {inventory.PRIVATE, inventory.PROOFS} or not key.startswith(home) or ".." in key.split("/"):
            raise BadInput(_("The archive names a file outside its sitting: %s.") % key)
        digest = hashlib.sha256()
        try:
            with archive.open(f"{where}/{key}") as source:
                while chunk := source.read(CHUNK):
                    digest.update(chunk)
        except (KeyError, *BROKEN) as error:
            raise BadInput(_("The archive is damaged at %s.") % key) from error
        if digest.hexdigest() != item["sha256"]:
            raise BadInput(_("The archive is damaged at %s.") % key)
        if seen is not None:
            seen(number, len(head["files"]))
        yield item
