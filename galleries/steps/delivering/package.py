"""The archive of a delivery: pictures, licence, print release, manifests. The same delivery gives the same bytes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import IO
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.translation import override

from galleries import storage
from galleries.imaging.codes import Code
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Acceptance as AcceptedWording
from galleries.models import DeliveredFile, Delivery, Studio
from galleries.papers.manifest import FileEntry, manifest_json, manifest_text, sha256sums
from galleries.papers.release import PrintRelease, print_release
from galleries.papers.sheet import Acceptance, licence_sheet, licence_sheet_pdf, licence_sheet_text
from galleries.papers.tagged import Paper
from galleries.papers.terms import LicenceTerms
from galleries.steps import packing
from galleries.steps.delivering import camera_picture, groups, licences, naming, sizes
from galleries.steps.delivering.file_order import FileOrder
from galleries.told import Told
from galleries.words.told import sentences

ISO_216 = {(297, 420): "A3", (210, 297): "A4", (148, 210): "A5", (105, 148): "A6"}  # trimmed, in millimetres

_PRINTED = {"print", "full"}
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


def papers(
    delivery: Delivery, files: Sequence[DeliveredFile], drawn: Mapping[Paper, bytes] | None = None
) -> dict[str, bytes]:
    """The papers that lie beside the pictures, by name; nothing in them hangs on the clock or on a restart. The PDF of
    one that was `drawn` before is taken."""
    terms, entries = licences.terms_of(delivery.licence), _entries(delivery, files)
    pdfs = {name: (drawn or {}).get(paper) or paper.pdf() for name, paper in _laid_out(delivery, files).items()}
    accepted = _accepted(delivery, _zone(delivery), until=delivery.created_at)
    by_name = {
        "licence.pdf": pdfs.pop("licence.pdf"),
        "licence.txt": licence_sheet_text(terms, entries, accepted).encode(),
        "licence.json": terms.to_json().encode(),
        **pdfs,
        "manifest.json": manifest_json(title_of(delivery), entries).encode(),
        "manifest.txt": manifest_text(title_of(delivery), entries).encode(),
    }
    sums = [*entries, *(FileEntry.of(name, data) for name, data in by_name.items())]
    by_name["SHA256SUMS"] = sha256sums(sums).encode()
    return by_name


def _entries(delivery: Delivery, files: Iterable[DeliveredFile]) -> list[FileEntry]:
    return [entry_of(delivery, file, groups.path_in_archive(delivery, file)) for file in files]


def _laid_out(delivery: Delivery, files: Sequence[DeliveredFile]) -> dict[str, Paper]:
    """The papers that are PDFs: they hang on names, sizes and pixels of the files, on no byte of theirs."""
    terms, zone, entries = licences.terms_of(delivery.licence), _zone(delivery), _entries(delivery, files)
    by_name = {"licence.pdf": licence_sheet(terms, entries, _accepted(delivery, zone, until=delivery.created_at))}
    release = _release(delivery, terms, files, entries)
    return {**by_name, "print-release.pdf": release} if release else by_name


def _zone(delivery: Delivery) -> ZoneInfo:
    return ZoneInfo(delivery.sitting.time_zone)


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
    listed = list(files.order_by("name"))
    entries = [entry_of(delivery, file) for file in listed]
    terms = licences.terms_of(licences.in_force(delivery.licence))
    by_name = {
        "licence.pdf": licence_sheet_pdf(terms, entries, _accepted(delivery, _zone(delivery))),
        "licence.json": terms.to_json().encode(),
    }
    release = _release(delivery, terms, listed, entries)
    return {**by_name, "print-release.pdf": release.pdf()} if release else by_name


def has_release(delivery: Delivery) -> bool:
    """Does the licence allow prints, and is there something to print? Then there is a page for the lab."""
    uses = {delivery.sizes.get(slug, {}).get("use") for slug in delivery.files.values_list("size_slug", flat=True)}
    return "print-own" in licences.terms_of(delivery.licence).uses and bool(uses & _PRINTED)


def _release(
    delivery: Delivery, terms: LicenceTerms, files: Iterable[DeliveredFile], entries: Iterable[FileEntry]
) -> Paper | None:
    """The page for the lab, where the licence allows prints and there is something to print."""
    uses = (delivery.sizes[file.size_slug]["use"] for file in files)
    listed = [entry for entry, use in zip(entries, uses, strict=True) if use in _PRINTED]
    if not listed or "print-own" not in licences.terms_of(delivery.licence).uses:
        return None
    signed_by = Studio.current().photographer or terms.photographer
    signed = PrintRelease(signed_by=signed_by, signed_on=delivery.created_at.astimezone(_zone(delivery)).date())
    return print_release(terms, signed, listed)


class Archive:
    """A delivery's archive while its files are still being made. They lie in it by name; each is copied as soon as it
    and all before it are kept, by a thread that asks no table, so that at the end little is left to copy."""

    def __init__(
        self, delivery: Delivery, names: Iterable[str], growing: packing.Growing, copier: ThreadPoolExecutor
    ) -> None:
        self._delivery, self._growing, self._copier = delivery, growing, copier
        self._top = f"{naming.person(delivery.sitting)}_delivery-{delivery.number}"
        self._names = sorted(names)
        self._early: dict[str, DeliveredFile] = {}
        self._files: list[DeliveredFile] = []
        self._copying: deque[Future[None]] = deque()
        self._papers: list[Paper] = []
        self._drawn: dict[Paper, bytes] = {}

    def expect(self, orders: Iterable[FileOrder]) -> None:
        """Beside the files that were added these: papers that name them all can be drawn from now on."""
        coming = (_expected(self._delivery, order) for order in orders)
        files = sorted([*self._files, *self._early.values(), *coming], key=lambda file: file.name)
        self._papers = list(_laid_out(self._delivery, files).values())

    def draw_papers(self) -> None:
        """Those that can be drawn while files are being made; it asks no table, so that any thread may. Where the files
        came out otherwise than ordered their papers are not those, and `finish` draws them."""
        for paper in self._papers:
            self._drawn[paper] = paper.pdf()

    def add(self, file: DeliveredFile) -> None:
        """One that is kept. Raises `OSError` when one of those before could not be copied."""
        self._early[file.name] = file
        while len(self._files) < len(self._names) and self._names[len(self._files)] in self._early:
            self._files.append(self._early.pop(self._names[len(self._files)]))
            self._copying.append(self._copier.submit(self._copy, self._files[-1]))
        while self._copying and self._copying[0].done():
            self._copying.popleft().result()

    def finish(self) -> Package:
        """With its papers, in the store. Raises `OSError` when a file could not be copied."""
        if self._early or len(self._files) != len(self._names):
            raise RuntimeError(f"delivery {self._delivery.pk} is to be packed, and its files are not all there")
        written = papers(self._delivery, self._files, self._drawn)
        for copying in self._copying:
            copying.result()
        for name, data in written.items():
            with self._member(name, len(data)) as target:
                target.write(data)
        packed = self._growing.finish(self._delivery.sitting.uid, "archive")
        return Package(packed.key, f"{self._top}.zip", packed.sha256, packed.bytes)

    def _copy(self, file: DeliveredFile) -> None:
        with self._member(groups.path_in_archive(self._delivery, file), file.bytes) as target:
            _copy(file, target)
        self._growing.settle()

    def _member(self, name: str, size: int) -> AbstractContextManager[IO[bytes]]:
        return packing.member(self._growing.archive, f"{self._top}/{name}", self._delivery.created_at, size)


@contextmanager
def begun(delivery: Delivery, names: Iterable[str]) -> Iterator[Archive]:
    """The archive of files of these names. It is beside the store and has no name of its own until it is finished."""
    with packing.begun() as growing, ThreadPoolExecutor(1, "copy") as copier:
        try:
            yield Archive(delivery, names, growing, copier)
        finally:
            copier.shutdown(cancel_futures=True)


def _expected(delivery: Delivery, order: FileOrder) -> DeliveredFile:
    """What the papers can say of a file before it is made; it is no row."""
    cut = CutOrder(sizes.spec_from(delivery.sizes[order.size]), order.crop, order.tilt, order.monochrome)
    width, height = cut.out_size
    return DeliveredFile(name=order.name, size_slug=order.size, sha256="0" * 64, bytes=0, width=width, height=height)


def _copy(file: DeliveredFile, target: IO[bytes]) -> None:
    """Into the archive, checked on the way: the archive never holds other bytes than the manifest says."""
    if packing.copy(storage.private(), file.key, target) != file.sha256:
        raise OSError(f"{file.name} in the store is not the file that was made; run `manage.py verify`.")
