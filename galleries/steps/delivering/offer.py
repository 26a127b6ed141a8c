"""A delivery once it is made: offered, withdrawn, offered again, and who may fetch it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.hashers import check_password
from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import PROGRAM, Act, Visitor, require, sees_whole
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import (
    DeliveredFile,
    Delivery,
    Job,
    JournalLine,
    Sitting,
    Verb,
)
from galleries.steps import jobs
from galleries.steps.delivering import licences, payment, receivers
from galleries.steps.people import letters
from galleries.words.told import stored

Stage, D = Sitting.Stage, Delivery.State
MOST_DAYS = 3650


def try_again(delivery: Delivery, by: Visitor) -> None:
    """List a delivery that could not be made once more."""
    _photographer(delivery, by)
    with transaction.atomic():
        if delivery.state == D.FAILED:
            stages.move_delivery(delivery, D.WAITING, by, verb=Verb.DELIVERY_TRIED_AGAIN, fields={"problem": ""})
        jobs.enqueue("delivery", delivery.pk, delivery.sitting, again=True)


def problem_of(delivery: Delivery) -> str:
    """Why it is not ready: its own sentence, or that of its job when the worker gave up. '' while all is well."""
    if delivery.problem or delivery.state != D.WAITING:
        return stored(delivery.problem)
    job = Job.objects.filter(kind="delivery", thing=delivery.pk, state=Job.State.FAILED).first()
    return job.why if job is not None else ""


def send(delivery: Delivery, by: Visitor) -> None:
    """Hand a delivery over that the photographer has looked at: people may fetch it, and each gets one letter.

    Raises:
        Refused: not this person's to do.
        Conflict: it is not waiting for that.
    """
    _photographer(delivery, by)
    if delivery.state != D.MADE:
        raise Conflict(_("This delivery does not wait to be sent."))
    _let_out(delivery, by, {})


def send_at_once(delivery: Delivery, fields: dict[str, Any]) -> None:
    """By the program, where the sitting says that nobody looks first; `fields` are set in the same stroke."""
    _let_out(delivery, PROGRAM, fields)


def _let_out(delivery: Delivery, by: Visitor, fields: dict[str, Any]) -> None:
    """To be fetched from now on, and each person hears of it."""
    with transaction.atomic():
        when = {"ready_at": timezone.now()}
        stages.move_delivery(delivery, D.READY, by, verb=Verb.DELIVERY_READY, fields={**fields, **when})
        _is_out(delivery, by)


def _is_out(delivery: Delivery, by: Visitor) -> None:
    """The sitting is delivered once every final of its list has been handed over. Whoever has had a letter of this
    delivery gets no other."""
    sitting = delivery.sitting
    sitting.refresh_from_db()
    if sitting.stage == Stage.FINISHING and not sitting.finals.undelivered().exists():
        stages.advance(sitting, Stage.DELIVERED, by, verb=Verb.DELIVERED, delivery=delivery.number)
    told, held = receivers.of(delivery), payment.holding(sitting)
    if held is not None:  # the others hear of it when it is paid
        told = [one for one in told if one.role == held.payer]
    letters.notify(sitting, "delivery", told, about=f"delivery-{delivery.number}")


def withdraw(delivery: Delivery, by: Visitor) -> None:
    """Nobody can fetch it any more. What was fetched is with the people who fetched it."""
    _photographer(delivery, by)
    stages.move_delivery(delivery, D.WITHDRAWN, by, verb=Verb.DELIVERY_WITHDRAWN)


def offer_again(delivery: Delivery, by: Visitor, days: int | None = None) -> None:
    """Open a withdrawn or lapsed delivery again, for `days` from now (None: without end). One that was withdrawn before
    anybody saw it goes out as any other."""
    _photographer(delivery, by)
    last_day = until(days)
    with transaction.atomic():
        if delivery.state == D.WITHDRAWN and delivery.ready_at is None:
            _let_out(delivery, by, {"expires_at": last_day})
        elif delivery.state == D.WITHDRAWN:
            stages.move_delivery(
                delivery, D.READY, by, verb=Verb.DELIVERY_OFFERED_AGAIN, fields={"expires_at": last_day}
            )
            _is_out(delivery, by)
        else:
            Delivery.objects.filter(pk=delivery.pk).update(expires_at=last_day)
            JournalLine.write(delivery.sitting, by.who, Verb.DELIVERY_OFFERED_AGAIN, f"delivery {delivery.number}")
    delivery.refresh_from_db()


def until(days: int | None) -> datetime | None:
    """The moment until which a delivery can be fetched, `days` from now; None, for none or 0 days: without end.

    Raises:
        BadInput: fewer days, or more than a delivery may have.
    """
    if days is None or days == 0:
        return None
    if not 1 <= days <= MOST_DAYS:
        raise BadInput(_("A delivery can be fetched for 1 to %d days.") % MOST_DAYS)
    return timezone.now() + timedelta(days=days)


def _photographer(delivery: Delivery, by: Visitor) -> None:
    require(by, Act.RUN, delivery, _("Deliveries are the photographer's to change."))


def passcode_fits(delivery: Delivery, given: str) -> bool:
    return not delivery.passcode_hash or check_password(given, delivery.passcode_hash)


def check_fetch(delivery: Delivery, by: Visitor, *, passcode_given: bool = True, whole: bool = False) -> None:
    """May this person have the files now, or with `whole` the archive that holds them all? The photographer always may,
    once there are any.

    Raises:
        Refused: with the sentence that says what is missing.
    """
    require(by, Act.FETCH, delivery, _("This delivery is not yours to fetch, or not any more."))
    if delivery.state == D.WITHDRAWN:
        raise Refused(_("The studio has withdrawn this delivery. Ask the studio."))
    if delivery.state == D.MADE and by.user is not None:
        return
    if delivery.state != D.READY:
        raise Refused(_("This delivery is still being made."))
    if by.user is not None:
        return
    if delivery.expires_at is not None and delivery.has_lapsed:
        until = date_format(timezone.localtime(delivery.expires_at), "DATE_FORMAT")
        raise Refused(_("This delivery could be fetched until %s. Ask the studio.") % until)
    if (held := payment.holding(delivery.sitting)) is not None:
        raise Refused(payment.why_held(held, by.invite))
    if delivery.passcode_hash and not passcode_given:
        raise Refused(_("Enter the passcode the studio gave you."))
    if by.invite is None or not licences.has_accepted(delivery.licence, by.invite):
        raise Refused(_("Accept the licence first; it says what the pictures may be used for."))
    if whole and not sees_whole(by, delivery):  # a file in it is kept from them: no more is said than where theirs are
        raise Refused(_("This delivery is fetched file by file."))


def of_file(sha256: str) -> list[DeliveredFile]:
    """The deliveries that hold a file of this digest, newest first."""
    files = DeliveredFile.objects.filter(sha256=sha256.lower()).select_related("delivery__sitting", "delivery__licence")
    return list(files.order_by("-delivery__pk"))
