"""Who fetched what, when: one row per person and file, however often the fetch was resumed."""

from __future__ import annotations

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone

from galleries import stages
from galleries.access import Visitor
from galleries.models import Delivery, Invite, JournalLine, Receipt, Verb
from galleries.steps import clashes
from galleries.steps.delivering import by_use


def record(
    delivery: Delivery, invite: Invite | None, who: str, name: str, last_byte: int = 0, *, start: bool = True
) -> Receipt:
    """Note a fetch of a file of the delivery (or its archive), up to and with byte number `last_byte`.

    `start` says that this request began at the file's first byte; a continued one counts as the same fetch. Each
    fetch writes a line in the journal, which says of somebody invited what they are, as all others do.
    """
    in_journal = Visitor(invite=invite).who if invite is not None else who
    with transaction.atomic():
        receipts = Receipt.objects.filter(delivery=delivery, invite=invite, name=name)
        if invite is None:
            receipts = receipts.filter(who=who)
        now = timezone.now()
        more = {"fetches": F("fetches") + 1} if start else {}
        again = receipts.update(last_at=now, **more)
        receipts.filter(last_byte__lt=last_byte).update(last_byte=last_byte)
        if again:
            if start:
                JournalLine.write(delivery.sitting, in_journal, Verb.FETCHED, name, delivery=delivery.number)
            return receipts.get()
        try:
            with transaction.atomic():
                receipt = Receipt.objects.create(
                    delivery=delivery, invite=invite, who=who[:120], name=name, last_byte=last_byte
                )
        except IntegrityError as error:  # perhaps two requests of one browser at the same moment
            if not clashes.at_once(error):
                raise
            return receipts.get()
        stages.touch(delivery.sitting)
        JournalLine.write(delivery.sitting, in_journal, Verb.FETCHED, name, delivery=delivery.number)
    return receipt


def complete(receipt: Receipt) -> bool:
    """Has the person got the file to its last byte?"""
    delivery = receipt.delivery
    if receipt.name == delivery.archive_name:
        return delivery.archive_bytes > 0 and receipt.last_byte >= delivery.archive_bytes - 1
    file = delivery.files.filter(name=receipt.name).first()
    size = file.bytes if file is not None else by_use.length_of(delivery, receipt.name, receipt.invite)
    return size is not None and receipt.last_byte >= size - 1
