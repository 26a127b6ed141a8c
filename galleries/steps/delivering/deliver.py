"""Deliveries: asked for by the photographer, made by the worker file by file, handed over when all is there."""

from __future__ import annotations

import hashlib
import json
import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any

from django.contrib.auth.hashers import check_password, make_password
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages, storage
from galleries.access import PROGRAM, Act, Visitor, may
from galleries.errors import BadInput, Conflict, DomainError, Refused
from galleries.imaging import rights
from galleries.imaging.drawing.border import border_and_name
from galleries.imaging.errors import BadRights, ImagingError
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.recipes import RECIPE_VERSION, CutOrder, FinalFile, make_finals
from galleries.imaging.rights.record import RightsRecord
from galleries.models import (
    DeliveredFile,
    Delivery,
    DeliverySize,
    Final,
    Invite,
    Job,
    JournalLine,
    Licence,
    Sitting,
)
from galleries.papers.terms import BadTerms, LicenceTerms
from galleries.steps import jobs
from galleries.steps.delivering import cut, licences, naming, package, sizes
from galleries.steps.finishing import finish
from galleries.steps.limits import limits
from galleries.steps.people import letters

Stage, D = Sitting.Stage, Delivery.State
MOST_DAYS = 3650
ROLES = (Invite.Role.SUBJECT, Invite.Role.REPRESENTATION, Invite.Role.RECIPIENT)
_IDS = uuid.UUID("6f0d9ad2-4f4e-5c3b-9a53-2a1c07c6f2b1")  # our own name space for document ids


# --- asking for a delivery ---


def prepare(
    sitting: Sitting,
    wanted: Sequence[DeliverySize],
    licence: Licence,
    by: Visitor,
    *,
    changed_only: bool = False,
    passcode: str = "",
    days: int | None = None,
    partial: bool = False,
) -> Delivery:
    """Fix what will be delivered, in which sizes and under which licence, and list the work.

    `changed_only` leaves out what the people have already, unchanged; `partial` delivers what is ready now.

    Raises:
        Refused: not this person's to do, or not at this stage.
        BadInput: no sizes, finals that are not ready, nothing changed.
    """
    _check(sitting, wanted, licence, by)
    finals = list(sitting.finals.filter(on_list=True).select_related("frame__look", "sitting"))
    waiting = finish.waiting_for(finals)
    ready = [final for final in finals if final.is_ready]
    if not ready or (waiting and not partial):
        raise BadInput(_("Not every final is ready: %s") % " ".join(waiting or [_("the list is empty.")]))
    until = _until(days)
    numbers = {size.slug: sizes.numbers(size) for size in wanted}
    orders = _orders(ready, wanted, numbers, licence, by, naming.stems(finals))
    if changed_only:
        had = _delivered_recipes(sitting)
        orders = [order for order in orders if (order["final"], order["size"], order["recipe"]) not in had]
        if not orders:
            raise BadInput(_("Nothing has changed since the last delivery."))
    try:
        with transaction.atomic():
            if any(one.orders == orders for one in sitting.deliveries.filter(state=D.WAITING)):
                raise Conflict(_("This delivery is being made already."))
            number = (sitting.deliveries.aggregate(last=Max("number"))["last"] or 0) + 1
            delivery = Delivery.objects.create(
                sitting=sitting,
                number=number,
                licence=licence,
                sizes=numbers,
                orders=orders,
                changed_only=changed_only,
                passcode_hash=make_password(passcode) if passcode else "",
                expires_at=until,
            )
            stages.touch(sitting)
            JournalLine.write(
                sitting, by.who, "delivery asked for", f"delivery {number}",
                files=len(orders), licence=licence.number, sizes=list(numbers),
            )  # fmt: skip
            jobs.enqueue("delivery", delivery.pk, sitting)
    except IntegrityError as error:
        raise Conflict(_("Somebody asked for a delivery at the same moment. Load the page again.")) from error
    return delivery


def _check(sitting: Sitting, wanted: Sequence[DeliverySize], licence: Licence, by: Visitor) -> None:
    if not may(by, Act.RUN, sitting):
        raise Refused(_("Deliveries are the photographer's to make."))
    if sitting.stage not in {Stage.FINISHING, Stage.DELIVERED}:
        raise Refused(_("A delivery can be made once the list of finals is closed."))
    if licence.sitting_id != sitting.pk:
        raise BadInput(_("This licence belongs to another sitting."))
    if not wanted:
        raise BadInput(_("Choose at least one size."))
    retired = [size.title for size in wanted if size.retired]
    if retired:
        raise BadInput(_("“%s” is retired; choose another size.") % retired[0])
    try:
        licences.terms_of(licence).validate()
    except BadTerms as error:
        raise BadInput(str(error)) from error


def _orders(
    finals: Sequence[Final],
    wanted: Sequence[DeliverySize],
    numbers: dict[str, dict[str, Any]],
    licence: Licence,
    by: Visitor,
    stems: dict[int, str],
) -> list[dict[str, Any]]:
    """One plain entry per file to make, with everything its bytes hang on."""
    orders = []
    for final in finals:
        source = cut.source_of(final)
        said = _said_of(final, source)
        for crop, size in zip(cut.propose(final, wanted, by), wanted, strict=True):
            order: dict[str, Any] = {
                "final": final.pk,
                "size": size.slug,
                "name": f"{stems[final.pk]}_{size.slug}.{naming.ENDINGS[size.file_format]}",
                "key": source.key,
                "source": source.sha256,
                "crop": cut.rect_of(crop).as_list(),
                "tilt": crop.tilt,
                "monochrome": cut.monochrome(final),
                "strip": cut.strip_name(final.sitting) if size.name_strip else "",
                "said": said,
                "icc": final.sitting.print_profile_key if size.use == DeliverySize.Use.PRINT else "",
            }
            order["recipe"] = _recipe(order, numbers[size.slug], licence)
            orders.append(order)
    return orders


def _said_of(final: Final, source: cut.Source) -> dict[str, str]:
    """What the metadata say of this picture beside the licence; plain JSON."""
    sitting, frame = final.sitting, final.frame
    look = frame.look.title if frame.look else ""
    taken = frame.captured_at.replace(tzinfo=None).isoformat() if frame.captured_at else ""
    return {
        "title": ", ".join(part for part in (sitting.subject_name, look) if part),
        "description": f"Headshot of {sitting.subject_name}, frame {frame.label}"
        + (f", look “{look}”." if look else "."),
        "alt_text": final.alt_text,
        "job_id": sitting.slug[:32],
        "digital_source_type": source.version.kind if source.version else "digitalCapture",
        "document_id": f"xmp.did:{uuid.uuid5(_IDS, source.sha256)}",
        "original_document_id": f"xmp.did:{uuid.uuid5(_IDS, frame.sha256)}",
        "image_guid": uuid.uuid5(_IDS, f"{source.sha256} {final.sitting.uid.hex}").hex,
        "captured_at": taken,
    }


def _recipe(order: dict[str, Any], numbers: dict[str, Any], licence: Licence) -> str:
    """A digest of everything the file's bytes hang on, so that a later delivery knows what changed."""
    words = {"title", "source", "mark", "checked"}  # of the size: where its numbers come from, not what they are
    bare = {name: value for name, value in numbers.items() if name not in words}
    parts = {k: v for k, v in order.items() if k not in {"final", "key", "name"}}
    body = json.dumps([RECIPE_VERSION, parts, bare, licence.terms], sort_keys=True)
    return hashlib.sha256(body.encode()).hexdigest()


def _delivered_recipes(sitting: Sitting) -> set[tuple[int | None, str, str]]:
    """The newest file of each final and size that was handed over, as (final, size, recipe)."""
    newest: dict[tuple[int | None, str], str] = {}
    rows = DeliveredFile.objects.filter(delivery__sitting=sitting, delivery__state=D.READY)
    for row in rows.order_by("delivery__number"):
        newest[row.final_id, row.size_slug] = row.recipe_sha256
    return {(final, size, recipe) for (final, size), recipe in newest.items()}


# --- making it ---


def build(delivery_id: int) -> None:
    """The job. What is made already is kept, so that a restart goes on with what is missing.

    Raises:
        DomainError, ImagingError: it cannot be made; the delivery says why.
    """
    delivery = Delivery.objects.select_related("sitting", "licence").filter(pk=delivery_id).first()
    if delivery is None or delivery.state != D.WAITING:
        return
    try:
        _make_files(delivery)
        packed = package.pack(delivery)
    except (DomainError, ImagingError) as error:
        stages.move_delivery(delivery, D.FAILED, PROGRAM, verb="delivery failed", fields={"problem": str(error)[:500]})
        raise
    _hand_over(delivery, packed)


def _make_files(delivery: Delivery) -> None:
    there = set(delivery.files.values_list("name", flat=True))
    missing = [order for order in delivery.orders if order["name"] not in there]
    terms = licences.terms_of(delivery.licence)
    for _final, group in groupby(missing, key=lambda order: order["final"]):
        orders = [order for order in group if not _reused(delivery, order)]
        if orders:
            _cut_final(delivery, orders, terms)


def _reused(delivery: Delivery, order: dict[str, Any]) -> bool:
    """Take a file over that an earlier delivery made by the very same recipe."""
    old = DeliveredFile.objects.filter(
        delivery__sitting=delivery.sitting, final_id=order["final"], recipe_sha256=order["recipe"]
    ).first()
    if old is None or not storage.private().exists(old.key):
        return False
    values = {name: getattr(old, name) for name in ("key", "sha256", "bytes", "width", "height", "warnings")}
    _row(delivery, order, **values)
    return True


def _cut_final(delivery: Delivery, orders: Sequence[dict[str, Any]], terms: LicenceTerms) -> None:
    """All files of one final, from one decode."""
    record = rights_record(terms, orders[0]["said"])
    data = storage.get(storage.private(), orders[0]["key"])
    cuts = [
        CutOrder(
            sizes.spec_from(delivery.sizes[order["size"]]),
            Rect(*order["crop"]),
            order["tilt"],
            order["monochrome"],
            storage.get(storage.private(), order["icc"]) if order.get("icc") else b"",
        )
        for order in orders
    ]
    strip = next((order["strip"] for order in orders if order["strip"]), "")
    try:
        made = make_finals(data, cuts, limits(), record, finish=border_and_name(strip))
    except ImagingError as error:
        raise type(error)(f"{orders[0]['said']['description']} {error}") from error
    for order, file in zip(orders, made, strict=True):
        _keep(delivery, order, file, record)


def rights_record(terms: LicenceTerms, said: dict[str, str]) -> RightsRecord:
    taken = said.get("captured_at")
    words = {name: value for name, value in said.items() if name != "captured_at"}
    return terms.to_rights(**words, captured_at=datetime.fromisoformat(taken) if taken else None)


def _keep(delivery: Delivery, order: dict[str, Any], file: FinalFile, record: RightsRecord) -> None:
    """Read the metadata back and compare, store the bytes, then write the row."""
    differences = rights.check(file.data, record)
    if differences:
        raise BadRights(f"{order['name']}: what was written does not read back. {' '.join(differences)}")
    ending = order["name"].rsplit(".", 1)[1]
    key = storage.derived_key(delivery.sitting.uid, "final", file.sha256, ending)
    storage.put(storage.private(), key, file.data)
    _row(
        delivery, order, key=key, sha256=file.sha256, bytes=len(file.data), width=file.width, height=file.height,
        warnings=list(file.warnings),
    )  # fmt: skip


def _row(delivery: Delivery, order: dict[str, Any], **values: Any) -> None:
    DeliveredFile.objects.get_or_create(
        delivery=delivery,
        name=order["name"],
        defaults={
            "final_id": order["final"],
            "size_slug": order["size"],
            "recipe_sha256": order["recipe"],
            **values,
        },
    )


def _hand_over(delivery: Delivery, packed: package.Package) -> None:
    sitting = delivery.sitting
    fields = {
        "archive_key": packed.key,
        "archive_name": packed.name,
        "archive_sha256": packed.sha256,
        "archive_bytes": packed.bytes,
        "ready_at": timezone.now(),
        "problem": "",
    }
    with transaction.atomic():
        stages.move_delivery(delivery, D.READY, PROGRAM, verb="delivery ready", fields=fields)
        sitting.refresh_from_db()
        if sitting.stage == Stage.FINISHING:
            stages.advance(sitting, Stage.DELIVERED, PROGRAM, verb="delivered", delivery=delivery.number)
        people = sitting.invites.filter(role__in=ROLES)
        letters.notify(sitting, "delivery", people, about=f"delivery-{delivery.number}")


# --- afterwards ---


def try_again(delivery: Delivery, by: Visitor) -> None:
    """List a delivery that could not be made once more."""
    _photographer(delivery, by)
    with transaction.atomic():
        if delivery.state == D.FAILED:
            stages.move_delivery(delivery, D.WAITING, by, verb="delivery tried again", fields={"problem": ""})
        jobs.enqueue("delivery", delivery.pk, delivery.sitting, again=True)


def problem_of(delivery: Delivery) -> str:
    """Why it is not ready: its own sentence, or that of its job when the worker gave up. '' while all is well."""
    if delivery.problem or delivery.state != D.WAITING:
        return delivery.problem
    job = Job.objects.filter(kind="delivery", thing=delivery.pk, state=Job.State.FAILED).first()
    return job.reason if job is not None else ""


def withdraw(delivery: Delivery, by: Visitor) -> None:
    """Nobody can fetch it any more. What was fetched is with the people who fetched it."""
    _photographer(delivery, by)
    stages.move_delivery(delivery, D.WITHDRAWN, by, verb="delivery withdrawn")


def offer_again(delivery: Delivery, by: Visitor, days: int | None = None) -> None:
    """Open a withdrawn or lapsed delivery again, for `days` from now (None: without end)."""
    _photographer(delivery, by)
    until = _until(days)
    with transaction.atomic():
        if delivery.state == D.WITHDRAWN:
            stages.move_delivery(delivery, D.READY, by, verb="delivery offered again", fields={"expires_at": until})
        else:
            Delivery.objects.filter(pk=delivery.pk).update(expires_at=until)
            JournalLine.write(delivery.sitting, by.who, "delivery offered again", f"delivery {delivery.number}")
    delivery.refresh_from_db()


def _until(days: int | None) -> datetime | None:
    if days is None or days == 0:
        return None
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(_("A delivery can be fetched for 1 to %d days.") % MOST_DAYS)
    return timezone.now() + timedelta(days=days)


def _photographer(delivery: Delivery, by: Visitor) -> None:
    if not may(by, Act.RUN, delivery):
        raise Refused(_("Deliveries are the photographer's to change."))


def passcode_fits(delivery: Delivery, given: str) -> bool:
    return not delivery.passcode_hash or check_password(given, delivery.passcode_hash)


def check_fetch(delivery: Delivery, by: Visitor, *, passcode_given: bool = True) -> None:
    """May this person have the files now? The photographer always may, once there are any.

    Raises:
        Refused: with the sentence that says what is missing.
    """
    if not may(by, Act.FETCH, delivery):
        raise Refused(_("This delivery is not yours to fetch, or not any more."))
    if delivery.state == D.WITHDRAWN:
        raise Refused(_("The studio has withdrawn this delivery. Ask the studio."))
    if delivery.state != D.READY:
        raise Refused(_("This delivery is still being made."))
    if by.user is not None:
        return
    if delivery.expires_at is not None and delivery.expires_at <= timezone.now():
        raise Refused(_("This delivery could be fetched until %s. Ask the studio.") % f"{delivery.expires_at:%Y-%m-%d}")
    if delivery.passcode_hash and not passcode_given:
        raise Refused(_("Enter the passcode the studio gave you."))
    if by.invite is None or not licences.has_accepted(delivery.licence, by.invite):
        raise Refused(_("Accept the licence first; it says what the pictures may be used for."))


def of_file(sha256: str) -> list[DeliveredFile]:
    """The deliveries that hold a file of this digest, newest first."""
    found = DeliveredFile.objects.filter(sha256=sha256.lower()).select_related("delivery__sitting", "delivery__licence")
    return list(found.order_by("-delivery__pk"))
