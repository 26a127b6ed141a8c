"""Everything kept about a sitting's subject as one archive: a page to read, rows for machines, pictures.

`index.html` is in the person's language; `rows.json` has English headings and every row of `own_rows.TABLES`;
`pictures/` holds the stamped proof of every frame and retouch, and with the studio's word the unstamped files too.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import dataclass, field
from typing import Any

from django.db import models
from django.utils import translation
from django.utils.translation import gettext as _

from galleries import models as m
from galleries import storage
from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.steps import derived, packing
from galleries.steps.delivering import naming
from galleries.steps.keeping import inventory, own_page, own_rows
from galleries.steps.keeping.inventory import PRIVATE, PROOFS, Place

KIND = "own"  # of the stored file, see `storage.derived_key`
PAGE, ROWS, SUMS = "index.html", "rows.json", "SHA256SUMS"


@dataclass
class Content:
    """What goes in: rows by table, and stored files by where they lie in the archive."""

    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    files: dict[Place, str] = field(default_factory=dict)

    def counts(self) -> dict[str, Any]:
        return {
            "rows": {name: len(rows) for name, rows in self.rows.items() if rows},
            "pictures": len(self.files),
        }


@dataclass(frozen=True)
class Archive:
    packed: packing.Packed
    name: str
    holds: dict[str, Any]


def content(copy: m.OwnCopy) -> Content:
    """
    Raises:
        BadInput: a stored file is missing (see `manage.py verify`).
    """
    contents = Content(files=_pictures(copy))
    for where, key in contents.files:
        if not inventory.store(where).exists(key):
            raise BadInput(_("The stored file %s is missing; see manage.py verify.") % f"{where}:{key}")
    places = {key: path for (_where, key), path in contents.files.items()}

    def picture_of(row: models.Model, name: str) -> str:
        return places.get(getattr(row, name), "")

    for table in own_rows.TABLES:
        if table.way:
            rows = own_rows.rows(table, copy.sitting, copy.invite, picture_of)
            contents.rows[table.model.__name__] = list(rows)
    return contents


def _pictures(copy: m.OwnCopy) -> dict[Place, str]:
    """Stored file → its path in the archive. Older proofs of a frame show the same, and stay where they are."""
    sitting, files = copy.sitting, dict[Place, str]()
    frames = list(sitting.frames.order_by("pk"))
    proofs = m.Proof.objects.newest_of(frame.pk for frame in frames)
    versions = list(m.Version.objects.filter(final__sitting=sitting).select_related("final__frame").order_by("pk"))
    for frame in frames:
        if frame.pk in proofs:
            files[PROOFS, proofs[frame.pk].large_key] = _path("proofs", frame.pk, frame.stem, "jpg")
    for version in versions:
        if version.proof_key:
            name = f"{version.final.frame.stem} {version.number}"
            files[PROOFS, version.proof_key] = _path("retouch-proofs", version.pk, name, "jpg")
    for reference in sitting.references.filter(brought_by=Visitor(invite=copy.invite).name):
        files[PRIVATE, reference.key] = _path("references", reference.pk, reference.caption, _ending(reference.key))
    return {**files, **_unstamped(sitting, frames, versions)} if copy.with_originals else files


def _unstamped(sitting: m.Sitting, frames: list[m.Frame], versions: list[m.Version]) -> dict[Place, str]:
    keys = {one: _picture_key(sitting, one) for one in frames}
    files = {(PRIVATE, key): _path("originals", one.pk, one.stem, _ending(key)) for one, key in keys.items()}
    for version in versions:
        files[PRIVATE, version.key] = _path("retouches", version.pk, version.name, _ending(version.key))
    for stray in sitting.strays.all():
        files[PRIVATE, stray.key] = _path("retouches", stray.pk, f"stray {stray.name}", _ending(stray.key))
    for file in m.DeliveredFile.objects.filter(delivery__sitting=sitting).select_related("delivery"):
        stem, _dot, ending = file.name.rpartition(".")
        files[PRIVATE, file.key] = _path(f"delivered-{file.delivery.number}", file.pk, stem, ending)
    return files


def _picture_key(sitting: m.Sitting, frame: m.Frame) -> str:
    """The file as it came; of a raw file, which nobody invited ever gets, the unstamped picture it shows."""
    return derived.view(sitting, frame.key, frame.sha256).key if frame.is_raw else frame.key


def _ending(key: str) -> str:
    return key.rpartition(".")[2]


def _path(folder: str, number: int, name: str, ending: str) -> str:
    """The row's number first, so that no two are alike; plain letters, so that no name leads out of the folder."""
    return f"pictures/{folder}/{number}_{naming.plain(name) or 'picture'}.{naming.plain(ending) or 'bin'}"


def rows_json(copy: m.OwnCopy, contents: Content) -> bytes:
    """For machines (article 20: structured, commonly used, machine-readable)."""
    with translation.override("en"):
        tables = {
            table.model.__name__: {
                "heading": str(table.model._meta.verbose_name_plural),
                "headings": {name: _heading(table, name) for name in _shown(table)},
                "left_out": {
                    name: str(kind) for name, kind in table.columns.items() if kind not in own_rows.IN_THE_COPY
                },
                "rows": contents.rows[table.model.__name__],
            }
            for table in own_rows.TABLES
            if table.way
        }
    head = {"about": copy.sitting.subject_name, "sitting": copy.sitting.title, "as_of": copy.created_at.isoformat()}
    return json.dumps({**head, "tables": tables}, ensure_ascii=False, indent=1).encode()


def _shown(table: own_rows.Table) -> list[str]:
    return [name for name, kind in table.columns.items() if kind in own_rows.IN_THE_COPY]


def _heading(table: own_rows.Table, name: str) -> str:
    return str(getattr(table.model._meta.get_field(name), "verbose_name", name)).replace("_", " ")


def write(copy: m.OwnCopy) -> Archive:
    """Make the archive and store it. Raises as `content`."""
    contents = content(copy)
    top = f"{naming.person(copy.sitting)}_about-me-{copy.pk}"
    papers = {PAGE: own_page.page(copy, contents.rows, len(contents.files)).encode(), ROWS: rows_json(copy, contents)}

    def fill(archive: zipfile.ZipFile) -> None:
        sums = [(hashlib.sha256(data).hexdigest(), name) for name, data in papers.items()]
        for name, data in papers.items():
            with packing.member(archive, f"{top}/{name}", copy.created_at, len(data)) as target:
                target.write(data)
        for (where, key), path in sorted(contents.files.items(), key=lambda item: item[1]):
            store = inventory.store(where)
            with packing.member(archive, f"{top}/{path}", copy.created_at, store.size(key)) as target:
                sums.append((packing.copy(store, key, target), path))
        listed = "".join(f"{digest}  {name}\n" for digest, name in sums).encode()
        with packing.member(archive, f"{top}/{SUMS}", copy.created_at, len(listed)) as target:
            target.write(listed)

    packed = packing.pack(copy.sitting.uid, KIND, fill)
    return Archive(packed, f"{top}.zip", contents.counts())


def remove_files(sitting: m.Sitting) -> int:
    """Remove every such archive of the sitting that no row names (any more), while none is being made; how many."""
    copies = sitting.own_copies.all()
    if copies.filter(state=m.OwnCopy.State.WAITING).exists():
        return 0
    named = set(copies.exclude(archive_key="").values_list("archive_key", flat=True))
    store, prefix = storage.private(), f"{storage.home(sitting.uid)}/{KIND}"
    gone = [key for key in inventory.listing(PRIVATE).keys(prefix) if key not in named]
    for key in gone:
        store.delete(key)
    return len(gone)
