"""A delivery asked for by the photographer: everything that each file will hang on, written down."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Any

from django.contrib.auth.hashers import make_password
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import (
    Delivery,
    DeliverySize,
    Final,
    JournalLine,
    Licence,
    Sitting,
    Verb,
)
from galleries.papers.licence_fields import BadTerms
from galleries.steps import clashes, jobs
from galleries.steps.delivering import cut, file_order, licences, naming, signing, sizes
from galleries.steps.delivering.file_order import Caption, FileOrder
from galleries.steps.delivering.offer import until
from galleries.steps.finishing import approvals, description

Stage, D = Sitting.Stage, Delivery.State
_IDS = uuid.UUID("6f0d9ad2-4f4e-5c3b-9a53-2a1c07c6f2b1")  # our own name space for document ids


def prepare(
    sitting: Sitting,
    wanted: Sequence[DeliverySize],
    licence: Licence,
    by: Visitor,
    *,
    changed_only: bool = False,
    passcode: str = "",
    passcode_as_before: bool = False,
    days: int | None = None,
    partial: bool = False,
) -> Delivery:
    """Fix what will be delivered, in which sizes and under which licence, and list the work.

    `changed_only` leaves out what the people have already, unchanged; `partial` delivers what is ready now.
    `passcode_as_before` keeps the one of the delivery before, where no other is given.

    Raises:
        Refused: not this person's to do, or not at this stage.
        BadInput: no sizes, finals that are not ready, nothing changed.
    """
    _check(sitting, wanted, licence, by)
    finals = list(sitting.finals.listed().select_related("frame__look", "sitting"))
    waiting = approvals.waiting_for(finals)
    ready = [final for final in finals if final.is_ready]
    if not ready or (waiting and not partial):
        raise BadInput(_("Not every final is ready: %s") % " ".join(waiting or [_("the list is empty.")]))
    last_day = until(days)
    numbers = {size.slug: sizes.numbers(size) for size in wanted}
    credentials = signing.wanted()
    try:
        with transaction.atomic():
            orders = _orders(ready, wanted, numbers, licence, by, naming.stems(finals), credentials)
            if changed_only:
                orders = _changed(sitting, orders)
            plain = [order.to_json() for order in orders]
            if any(one.orders == plain for one in sitting.deliveries.being_made()):
                raise Conflict(_("This delivery is being made already."))
            number = (sitting.deliveries.aggregate(last=Max("number"))["last"] or 0) + 1
            delivery = Delivery.objects.create(
                sitting=sitting,
                number=number,
                licence=licence,
                sizes=numbers,
                orders=plain,
                changed_only=changed_only,
                passcode_hash=_passcode(sitting, passcode, passcode_as_before),
                expires_at=last_day,
            )
            stages.touch(sitting)
            JournalLine.write(
                sitting, by.who, Verb.DELIVERY_ASKED_FOR, f"delivery {number}",
                files=len(orders), licence=licence.number, sizes=list(numbers),
            )  # fmt: skip
            jobs.enqueue("delivery", delivery.pk, sitting)
    except IntegrityError as error:
        if not clashes.at_once(error):
            raise
        raise Conflict(_("Somebody asked for a delivery at the same moment. Load the page again.")) from error
    return delivery


def _passcode(sitting: Sitting, given: str, as_before: bool) -> str:
    if given:
        return make_password(given)
    before = sitting.deliveries.order_by("-number").first() if as_before else None
    return before.passcode_hash if before else ""


def _check(sitting: Sitting, wanted: Sequence[DeliverySize], licence: Licence, by: Visitor) -> None:
    require(by, Act.RUN, sitting, _("Deliveries are the photographer's to make."))
    if sitting.stage not in {Stage.FINISHING, Stage.DELIVERED}:
        raise Refused(_("A delivery can be made once the list of finals is closed."))
    if licence.sitting_id != sitting.pk:
        raise BadInput(_("This licence belongs to another sitting."))
    if not wanted:
        raise BadInput(_("Choose at least one size."))
    retired = [size.shown_title for size in wanted if size.retired]
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
    credentials: str,
) -> list[FileOrder]:
    """One order per file to make, with everything its bytes hang on."""
    orders = []
    for final in finals:
        source = cut.source_of(final)
        if final.frame.is_raw and source.version is None and not final.from_camera_picture:
            raise Refused(
                _("Frame %s is a raw file of the camera: a delivery waits for the approved version developed from it.")
                % final.frame.label
            )
        caption = _caption_of(final, source)
        for crop, size in zip(cut.propose(final, wanted, by), wanted, strict=True):
            order = FileOrder(
                final=final.pk,
                size=size.slug,
                name=f"{stems[final.pk]}_{size.slug}.{naming.ENDINGS[size.file_format]}",
                key=source.key,
                source=source.sha256,
                crop=cut.rect_of(crop),
                tilt=crop.tilt,
                monochrome=cut.monochrome(final),
                strip=cut.strip_name(final.sitting) if size.name_strip else "",
                icc=final.sitting.print_profile_key if size.use == DeliverySize.Use.PRINT else "",
                said=caption,
                frame=final.frame.sha256 if credentials else "",
                credentials=credentials,
            )
            orders.append(order.with_digests(numbers[size.slug], licence.terms))
    return orders


def _caption_of(final: Final, source: cut.Source) -> Caption:
    sitting, frame = final.sitting, final.frame
    look = frame.look.title if frame.look else ""
    return Caption(
        title=", ".join(part for part in (sitting.subject_name, look) if part),
        description=f"Headshot of {sitting.subject_name}, frame {frame.label}" + (f", look “{look}”." if look else "."),
        alt_text=description.written(final),
        job_id=sitting.slug[:32],
        digital_source_type=source.version.kind if source.version else "digitalCapture",
        document_id=f"xmp.did:{uuid.uuid5(_IDS, source.sha256)}",
        original_document_id=f"xmp.did:{uuid.uuid5(_IDS, frame.sha256)}",
        image_guid=uuid.uuid5(_IDS, f"{source.sha256} {final.sitting.uid.hex}").hex,
        captured_at=frame.captured_at.replace(tzinfo=None).isoformat() if frame.captured_at else "",
    )


def _changed(sitting: Sitting, orders: list[FileOrder]) -> list[FileOrder]:
    """Those whose picture nobody was handed yet. Other words in the file alone are no other picture.

    Raises:
        BadInput: none is left.
    """
    had = _handed_over(sitting)
    before = [had.get((order.final, order.size)) for order in orders]
    changed = [new for old, new in zip(before, orders, strict=True) if old is None or old.picture != new.picture]
    if changed:
        return changed
    if any(had[order.final, order.size].recipe != order.recipe for order in orders):
        raise BadInput(
            _("No picture has changed since the last delivery, only what is written into the files. Deliver them all.")
        )
    raise BadInput(_("Nothing has changed since the last delivery."))


def _handed_over(sitting: Sitting, before: int | None = None) -> dict[tuple[int, str], FileOrder]:
    """(final, size) → the order of the newest file handed over, before the delivery of this number if one is given."""
    ready = sitting.deliveries.handed_over().select_related("licence").order_by("number")
    if before is not None:
        ready = ready.filter(number__lt=before)
    return {(order.final, order.size): order for delivery in ready for order in file_order.of(delivery)}


def why_changed(delivery: Delivery) -> dict[str, list[str]]:
    """Name of each file of a delivery of changes → what is another than in the file that was handed over before."""
    had = _handed_over(delivery.sitting, delivery.number)
    return {order.name: _differences(had.get((order.final, order.size)), order) for order in file_order.of(delivery)}


def _differences(old: FileOrder | None, new: FileOrder) -> list[str]:
    if old is None:
        return [_("not delivered before")]
    changes = [
        (old.source != new.source, _("another version of the picture")),
        ((old.crop, old.tilt) != (new.crop, new.tilt), _("another crop")),
        (old.monochrome != new.monochrome, _("black and white or colour")),
        (old.strip != new.strip, _("the name below the picture")),
        (old.icc != new.icc, _("the lab's profile")),
        (old.said.digital_source_type != new.said.digital_source_type, _("how the retouch was made")),
    ]
    # Neither of these: the size's own numbers, or the way this release makes pictures.
    return [words for differs, words in changes if differs] or [_("the size, or how pictures are made")]


def undeclared(finals: Iterable[Final]) -> list[Final]:
    """Finals that go out as a retouch of which nobody has said how it was made: their files would claim what is
    usual, a person's work without generative tools."""
    sources = ((final, cut.source_of(final).version) for final in finals if final.is_ready)
    return [final for final, version in sources if version is not None and not version.kind_stated]
