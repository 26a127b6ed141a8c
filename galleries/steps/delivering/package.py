"""The archive of a delivery: pictures, licence, print release, manifests. The same delivery gives the same bytes."""

from __future__ import annotations

import zipfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from typing import IO
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.translation import override

from galleries import storage
from galleries.imaging.codes import Code
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Acceptance as AcceptedWording
from galleries.models import DeliveredFile, Delivery, Studio
from galleries.papers.manifest import FileEntry, manifest_json, manifest_text, sha256sums
from galleries.papers.release import PrintRelease, print_release_pdf
from galleries.papers.sheet import Acceptance, licence_sheet_pdf, licence_sheet_text
from galleries.papers.terms import LicenceTerms
from galleries.steps import packing
from galleries.steps.delivering import camera_picture, groups, licences, naming, sizes
from galleries.told import Told
from galleries.words.told import sentences

ISO_216 = {(297, 420): "A3", (210, 297): "A4", (148, 210): "A5", (105, 148): "A6"}  # trimmed, in millimetres

_IN_THE_PAPERS = (Code.ENLARGED, Code.UNDER_PPI, *camera_picture.CODES)


@dataclass(frozen=True)
class Package:
    """A finished archive in the private store."""

    key: str
    name: str
    sha256: str
    bytes: int


def use_of(spec: SizeSpec) -> str:
    """What a file is for, in words: 'for a casting upload, portrait'."""
    if spec.full_frame:
        return "the whole frame, not cropped"
    shape = "square" if spec.width == spec.height else "portrait" if spec.width < spec.height else "wide"
    kinds = {"print": "for a print", "casting": "for a casting upload", "web": "for web and social media"}
    if spec.use == "print":
        return f"for a print of {paper(spec)}" + (", with bleed" if spec.bleed else "")
    return f"{kinds[spec.use]}, {shape}"


def paper(spec: SizeSpec) -> str:
    """A print's two sides in the unit its paper is sold in: '8 × 10 in', 'A4 (21 × 29.7 cm)', '13 × 18 cm'.

    Inches where both sides are whole quarters of an inch, half a pixel of rounding let pass; else centimetres (common
    practice, no source). The names are those of ISO 216.
    """
    sides = (spec.width / spec.ppi, spec.height / spec.ppi)
    if all(abs(side * 4 - round(side * 4)) <= 2 / spec.ppi for side in sides):
        return " × ".join(f"{round(side * 4) / 4:g}" for side in sides) + " in"
    millimetres = [round(side * 25.4) for side in sides]
    measure = " × ".join(f"{side / 10:g}" for side in millimetres) + " cm"
    name = ISO_216.get((min(millimetres), max(millimetres)))
    return f"{name} ({measure})" if name else measure


def entry_of(delivery: Delivery, file: DeliveredFile, name: str = "") -> FileEntry:
    """What the papers say of a file; `name` is its place in the archive, where it is listed there."""
    spec = sizes.spec_from(delivery.sizes[file.size_slug])
    listed = [one for one in map(Told.from_stored, file.warnings) if one.code in _IN_THE_PAPERS]
    with override("en"):  # the papers of the archive are in English, one for everybody
        caution = " ".join(sentences(listed))
    return FileEntry(name or file.name, file.sha256, file.bytes, file.width, file.height, use_of(spec), caution)


def title_of(delivery: Delivery) -> str:
    return f"{delivery.sitting.subject_name}: delivery {delivery.number}"


def papers(delivery: Delivery, entries: Sequence[FileEntry]) -> dict[str, bytes]:
    """The papers that lie beside the pictures, by name; nothing in them hangs on the clock or on a restart."""
    terms = licences.terms_of(delivery.licence)
    zone = ZoneInfo(delivery.sitting.time_zone)
    accepted = _accepted(delivery, zone, until=delivery.created_at)
    by_name = {
        "licence.pdf": licence_sheet_pdf(terms, entries, accepted),
        "licence.txt": licence_sheet_text(terms, entries, accepted).encode(),
        "licence.json": terms.to_json().encode(),
    }
    release = _release(delivery, terms, entries, zone)
    if release:
        by_name["print-release.pdf"] = release
    by_name["manifest.json"] = manifest_json(title_of(delivery), entries).encode()
    by_name["manifest.txt"] = manifest_text(title_of(delivery), entries).encode()
    sums = [*entries, *(FileEntry.of(name, data) for name, data in by_name.items())]
    by_name["SHA256SUMS"] = sha256sums(sums).encode()
    return by_name


def _accepted(delivery: Delivery, zone: ZoneInfo, until: datetime | None = None) -> list[Acceptance]:
    """Who has accepted the delivery's licence, or what was added to it, and when."""
    wordings = {one.pk: one.number for one in (delivery.licence, *delivery.licence.addenda.all())}
    words = AcceptedWording.objects.filter(licence__in=list(wordings)).order_by("pk")
    if until is not None:
        words = words.filter(at__lte=until)
    return [Acceptance(word.name, word.at.astimezone(zone), wordings[word.licence_id]) for word in words]


def papers_by_name(delivery: Delivery, files: QuerySet[DeliveredFile]) -> dict[str, bytes]:
    """The papers people need by themselves, naming the files that the reader may know of: the licence with what was
    allowed since and with everybody who has accepted it by now (the archive's was made before), the same for
    machines, and the print release where there is one."""
    entries = [entry_of(delivery, file) for file in files.order_by("name")]
    terms = licences.terms_of(licences.in_force(delivery.licence))
    zone = ZoneInfo(delivery.sitting.time_zone)
    by_name = {
        "licence.pdf": licence_sheet_pdf(terms, entries, _accepted(delivery, zone)),
        "licence.json": terms.to_json().encode(),
    }
    release = _release(delivery, terms, entries, zone)
    return {**by_name, "print-release.pdf": release} if release else by_name


def has_release(delivery: Delivery) -> bool:
    """Does the licence allow prints, and is there something to print? Then there is a page for the lab."""
    uses = {delivery.sizes.get(slug, {}).get("use") for slug in delivery.files.values_list("size_slug", flat=True)}
    return "print-own" in licences.terms_of(delivery.licence).uses and bool(uses & {"print", "full"})


def _release(delivery: Delivery, terms: LicenceTerms, entries: Sequence[FileEntry], zone: ZoneInfo) -> bytes:
    """The page for the lab, where the licence allows prints and the delivery holds something to print."""
    prints = {file.name for file in delivery.files.all() if delivery.sizes[file.size_slug]["use"] in {"print", "full"}}
    listed = [entry for entry in entries if entry.name.rpartition("/")[2] in prints]
    if not has_release(delivery) or not listed:
        return b""
    signed_by = Studio.current().photographer or terms.photographer
    signed = PrintRelease(signed_by=signed_by, signed_on=delivery.created_at.astimezone(zone).date())
    return print_release_pdf(terms, signed, listed)


def pack(delivery: Delivery) -> Package:
    """Write the archive beside the store, then put it there whole."""
    files = list(delivery.files.order_by("name"))
    paths = {file.pk: groups.path_in_archive(delivery, file) for file in files}
    entries = [entry_of(delivery, file, paths[file.pk]) for file in files]
    top = f"{naming.person(delivery.sitting)}_delivery-{delivery.number}"

    def copy_files(archive: zipfile.ZipFile) -> None:
        for file in files:
            with packing.member(archive, f"{top}/{paths[file.pk]}", delivery.created_at, file.bytes) as target:
                _copy(file, target)

    def write(archive: zipfile.ZipFile) -> None:
        with ThreadPoolExecutor(1, "copy") as aside:  # it asks no table; the papers do
            copying = aside.submit(copy_files, archive)
            written = papers(delivery, entries)
            copying.result()
        for name, data in written.items():
            with packing.member(archive, f"{top}/{name}", delivery.created_at, len(data)) as target:
                target.write(data)

    packed = packing.pack(delivery.sitting.uid, "archive", write)
    return Package(packed.key, f"{top}.zip", packed.sha256, packed.bytes)


def _copy(file: DeliveredFile, target: IO[bytes]) -> None:
    """Into the archive, checked on the way: the archive never holds other bytes than the manifest says."""
    if packing.copy(storage.private(), file.key, target) != file.sha256:
        raise OSError(f"{file.name} in the store is not the file that was made; run `manage.py verify`.")
