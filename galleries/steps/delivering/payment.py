"""What is owed for extra finals and a delivery: whether it waits for the payment, and the photographer's word that it
is paid. No payment is taken here."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.errors import Conflict
from galleries.models import Invite, JournalLine, Sitting, Statement, Verb
from galleries.steps.agreeing import extras
from galleries.steps.delivering import receivers
from galleries.steps.people import letters
from galleries.words import money


def holding(sitting: Sitting) -> Statement | None:
    """The statement that deliveries of this sitting wait for; None where they wait for none."""
    statement = Statement.objects.latest_of(sitting.pk)
    if statement is None or not statement.is_open:
        return None
    return statement if extras.quote(sitting).waits else None


def why_held(statement: Statement, person: Invite | None) -> str:
    """Why this person cannot fetch yet. Who is asked to pay reads what; the other side that it is between those two;
    anybody else no more than that it waits."""
    role = person.role if person is not None else ""
    sheet = statement.sheet
    if role == statement.payer:
        return _(
            "Statement %(n)d is open: %(amount)s. The files can be fetched once the studio has said that it is paid."
        ) % {"n": statement.number, "amount": money.amount(sheet.due, sheet.price.currency)}
    if role == Invite.Role.SUBJECT:
        return _("The files wait for something that the studio and the representation still settle.")
    if role == Invite.Role.REPRESENTATION:
        return _("The files wait for something that the studio and the subject still settle.")
    return _("The studio has not let this delivery be fetched yet. Ask the studio.")


def say_paid(statement: Statement, by: Visitor, paid: bool = True) -> None:
    """The photographer's word that it is paid, or (`paid` false) its taking back. What waited for it may be fetched,
    and people get their letter; or it waits again.

    Raises:
        Refused: only the photographer does.
        Conflict: a later statement stands in its place, nothing is owed on it, or it was said already.
    """
    require(by, Act.RUN, statement, _("Only the photographer says what is paid."))
    sitting = statement.sitting
    with transaction.atomic():
        # The closing's own lock: a list that is closed now reckons with the word, or the word comes too late.
        Sitting.objects.select_for_update(no_key=True).get(pk=sitting.pk)
        latest = Statement.objects.latest_of(sitting.pk)
        if latest is None or latest.pk != statement.pk:
            raise Conflict(_("A later statement stands in place of this one."))
        if statement.sheet.due <= 0:
            raise Conflict(_("Nothing is owed on this statement."))
        waited = holding(sitting) is not None
        rows = Statement.objects.filter(pk=statement.pk, paid_at__isnull=paid)
        if not rows.update(paid_at=timezone.now() if paid else None, paid_by=by.name if paid else ""):
            raise Conflict(_("That was said already. Load the page again."))
        stages.touch(sitting)
        verb = Verb.STATEMENT_PAID if paid else Verb.STATEMENT_UNPAID
        JournalLine.write(sitting, by.who, verb, f"statement {statement.number}")
        if paid and waited:
            _tell(sitting)
    statement.refresh_from_db()


def _tell(sitting: Sitting) -> None:
    """What waited may be fetched now: to everybody for whom there is something in it."""
    for delivery in sitting.deliveries.handed_over():
        about = f"delivery-{delivery.number}-paid"
        letters.notify(sitting, "delivery", receivers.of(delivery), about=about)
