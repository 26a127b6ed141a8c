"""A delivery made by the worker, file by file, and handed over when all is there."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from itertools import groupby
from typing import Any

from django.db import transaction
from django.utils import timezone

from galleries import stages, storage
from galleries.access import PROGRAM
from galleries.errors import DomainError
from galleries.imaging.codes import Code
from galleries.imaging.contained import door
from galleries.imaging.errors import BadRights, DoesNotFit, ImagingError
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.sizes import SizeSpec
from galleries.imaging.recipes import FinalFile
from galleries.imaging.rights.record import RightsRecord
from galleries.models import DeliveredFile, Delivery, Frame, Verb
from galleries.papers import tagged
from galleries.papers.terms import LicenceTerms
from galleries.steps.delivering import camera_picture, file_order, left_behind, licences, offer, package, sizes
from galleries.steps.delivering.file_order import Caption, FileOrder
from galleries.steps.delivering.signing import Pen
from galleries.steps.limits import limits
from galleries.told import Told

D = Delivery.State
HANDS = 4  # finals of one delivery at once: each holds a picture of full size, and several deliveries may be under way


def build(delivery_id: int) -> None:
    """The job. What is made already is kept, so that a restart goes on with what is missing.

    Raises:
        DomainError, ImagingError: it cannot be made; the delivery says why.
    """
    delivery = Delivery.objects.select_related("sitting", "licence").filter(pk=delivery_id).first()
    if delivery is None or delivery.state != D.WAITING:
        return
    began = timezone.now()
    try:
        there = {file.name: file for file in delivery.files.all()}
        missing = [order for order in file_order.of(delivery) if order.name not in there]
        names = {*there, *(order.name for order in missing)}
        with package.begun(delivery, names) as archive, ThreadPoolExecutor(1, "papers") as aside:
            aside.submit(tagged.get_ready)  # while the pictures are cut: at the end only one core would work at it
            for file in there.values():
                archive.add(file)
            archive.expect(missing)
            _make_files(delivery, missing, archive)
            packed = archive.finish()
        left_behind.clear(delivery, began)
    except (DomainError, ImagingError) as error:
        stages.move_delivery(
            delivery, D.FAILED, PROGRAM, verb=Verb.DELIVERY_FAILED, fields={"problem": error.told.as_text(500)}
        )
        raise
    _hand_over(delivery, packed)


def _make_files(delivery: Delivery, missing: Sequence[FileOrder], archive: package.Archive) -> None:
    """In the order in which the archive holds them, so that it grows with them; its papers are drawn by the first hand
    that finds no final left."""
    terms = licences.terms_of(delivery.licence)
    pen = Pen.taken() if any(order.credentials for order in missing) else None
    if pen is not None:  # the certificate may have been exchanged since the delivery was asked for
        mark = pen.certificate.fingerprint
        missing = [replace(order, credentials=mark) if order.credentials else order for order in missing]
    groups = (list(group) for _final, group in groupby(missing, key=lambda order: order.final))
    by_name = sorted(groups, key=lambda orders: min(order.name for order in orders))
    wanted = (_not_reused(delivery, orders, archive) for orders in by_name)
    to_cut = (_cuts_of(delivery, orders, terms, pen) for orders in wanted if orders)
    with closing(_side_by_side(to_cut, archive.draw_papers)) as finals:
        for cuts, files in finals:
            for order, file in zip(cuts.orders, files, strict=True):
                archive.add(_keep(delivery, order, file))


def _not_reused(delivery: Delivery, orders: Sequence[FileOrder], archive: package.Archive) -> list[FileOrder]:
    left = []
    for order in orders:
        file = _reused(delivery, order)
        if file is None:
            left.append(order)
        else:
            archive.add(file)
    return left


def _reused(delivery: Delivery, order: FileOrder) -> DeliveredFile | None:
    """Take a file over that an earlier delivery made by the very same recipe."""
    old = DeliveredFile.objects.filter(
        delivery__sitting=delivery.sitting, final_id=order.final, recipe_sha256=order.recipe
    ).first()
    if old is None or not storage.private().exists(old.key):
        return None
    values = {name: getattr(old, name) for name in ("key", "sha256", "bytes", "width", "height", "warnings")}
    return _row(delivery, order, **values)


@dataclass(frozen=True)
class _FinalCuts:
    """What one final's files are made of; plain values, so that any thread may make them."""

    orders: Sequence[FileOrder]
    cuts: Sequence[CutOrder]
    pens: Sequence[Pen | None]
    record: RightsRecord
    reserve: int

    def files(self) -> list[FinalFile]:
        """All files of the final, from one decode, signed, and their metadata read back. Raises `ImagingError`."""
        data = storage.get(storage.private(), self.orders[0].key)
        strip = next((order.strip for order in self.orders if order.strip), "")
        files = door.make_finals(data, self.cuts, limits(), self.record, name=strip, reserve=self.reserve)
        del data
        for nth, (order, cut, pen) in enumerate(zip(self.orders, self.cuts, self.pens, strict=True)):
            files[nth] = _signed(files[nth], order, cut.size, pen)
            _check_rights(files[nth], order, self.record)
        return files


def _cuts_of(delivery: Delivery, orders: Sequence[FileOrder], terms: LicenceTerms, pen: Pen | None) -> _FinalCuts:
    cuts = [
        CutOrder(
            sizes.spec_from(delivery.sizes[order.size]),
            order.crop,
            order.tilt,
            order.monochrome,
            storage.get(storage.private(), order.icc) if order.icc else b"",
        )
        for order in orders
    ]
    pens = [pen if order.credentials else None for order in orders]
    with _named(orders):
        rooms = [one.room(order, cut.size) if one else 0 for one, order, cut in zip(pens, orders, cuts, strict=True)]
    return _FinalCuts(orders, cuts, pens, rights_record(terms, orders[0].said), max(rooms))


@contextmanager
def _named(orders: Sequence[FileOrder]) -> Iterator[None]:
    """What goes wrong with a final's files is told with its frame's name, where it is not with a file's own."""
    try:
        yield
    except ImagingError as error:
        if error.told.about:
            raise
        raise type(error).of(error.told.named(_camera_name(orders[0]))) from error


_Making = tuple[_FinalCuts, Future[list[FinalFile]]]


def _side_by_side(
    to_cut: Iterator[_FinalCuts], last: Callable[[], None]
) -> Generator[tuple[_FinalCuts, list[FinalFile]], None, None]:
    """Each final's files in the order of the finals, made on several cores. Beside what the hands work at one more lies
    ready, for a hand that ends while the caller waits for an earlier final or keeps its files; no more, for all that is
    cut and not yet kept is held in memory. Tables are asked, and files kept, by the caller's thread alone. It asks no
    decoder: there are as many as hands, and while it waited for one a hand that had ended would find nothing to do.
    The hand that ends first works at `last` while the others are still at it."""
    cores = min(len(os.sched_getaffinity(0)), HANDS)
    with ThreadPoolExecutor(cores, "cut") as pool, door.kept_warm(cores):
        ahead: deque[_Making] = deque()
        try:
            for cuts in to_cut:
                ahead.append((cuts, pool.submit(cuts.files)))
                if len(ahead) > cores + 1:
                    yield _cut(ahead.popleft())
            pool.submit(last)
            while ahead:
                yield _cut(ahead.popleft())
        finally:
            pool.shutdown(cancel_futures=True)


def _cut(making: _Making) -> tuple[_FinalCuts, list[FinalFile]]:
    cuts, files = making
    with _named(cuts.orders):
        return cuts, files.result()


def _signed(file: FinalFile, order: FileOrder, spec: SizeSpec, pen: Pen | None) -> FinalFile:
    """Last of all: what is written into the file afterwards would be a change of what was signed."""
    if pen is None:
        return file
    try:
        data = pen.sign(file.data, order, spec)
    except ImagingError as error:
        raise type(error).of(error.told.named(order.name)) from error
    if spec.byte_cap and len(data) > spec.byte_cap:
        raise DoesNotFit(Code.OVER_WITH_RIGHTS, size_bytes=len(data), cap_bytes=spec.byte_cap)
    return replace(file, data=data, sha256=hashlib.sha256(data).hexdigest())


def _camera_name(order: FileOrder) -> str:
    frame = Frame.objects.filter(finals=order.final).first()
    return frame.name if frame else ""


def rights_record(terms: LicenceTerms, caption: Caption) -> RightsRecord:
    words = asdict(caption)
    taken = words.pop("captured_at")
    return terms.to_rights(**words, captured_at=datetime.fromisoformat(taken) if taken else None)


def _check_rights(file: FinalFile, order: FileOrder, record: RightsRecord) -> None:
    """Raises `BadRights` when the metadata do not read back as they were to be written."""
    differences = door.check_rights(file.data, record)
    if differences:
        raise BadRights.of(Told(Code.RIGHTS_NOT_AS_WRITTEN, about=order.name, more=tuple(differences)))


def _keep(delivery: Delivery, order: FileOrder, file: FinalFile) -> DeliveredFile:
    """Store the bytes, then write the row: one file after the other, for of several kept at once a killed worker would
    leave those without a row that were flushed first."""
    ending = order.name.rsplit(".", 1)[1]
    key = storage.derived_key(delivery.sitting.uid, left_behind.KIND, file.sha256, ending)
    storage.put(storage.private(), key, file.data)
    return _row(
        delivery, order, key=key, sha256=file.sha256, bytes=len(file.data), width=file.width, height=file.height,
        warnings=[one.as_dict() for one in (*file.warnings, *camera_picture.of(order, delivery.sizes))],
    )  # fmt: skip


def _row(delivery: Delivery, order: FileOrder, **values: Any) -> DeliveredFile:
    row, _new = DeliveredFile.objects.get_or_create(
        delivery=delivery,
        name=order.name,
        defaults={
            "final_id": order.final,
            "size_slug": order.size,
            "recipe_sha256": order.recipe,
            **values,
        },
    )
    return row


def _hand_over(delivery: Delivery, packed: package.Package) -> None:
    fields = {
        "archive_key": packed.key,
        "archive_name": packed.name,
        "archive_sha256": packed.sha256,
        "archive_bytes": packed.bytes,
        "problem": "",
    }
    with transaction.atomic():
        if delivery.sitting.send_at_once:
            offer.send_at_once(delivery, fields)
        else:  # the photographer looks first, then sends
            stages.move_delivery(delivery, D.MADE, PROGRAM, verb=Verb.DELIVERY_MADE, fields=fields)
