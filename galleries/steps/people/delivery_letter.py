"""What a letter says of a delivery: until when it can be fetched, what it takes, and whether it is still there."""

from __future__ import annotations

from datetime import datetime
from typing import TypedDict

from galleries.models import Acceptance, Delivery, Letter, Sitting

KIND = "delivery"


class Facts(TypedDict):
    """Of a delivery, for one person: its last moment, if any; whether it asks for a passcode; whether it holds only
    what changed since another; whether they have accepted its licence."""

    fetch_until: datetime | None
    needs_passcode: bool
    changes_only: bool
    has_accepted: bool


def is_past(letter: Letter) -> bool:
    """Can what the letter tells of not be fetched any more?"""
    delivery = _delivery_of(letter)
    return delivery is not None and not delivery.is_there


def can_be_fetched(sitting: Sitting) -> bool:
    """Is any delivery of the sitting handed over, and has not lapsed?"""
    return any(one.is_there for one in sitting.deliveries.handed_over())


def facts(letter: Letter) -> Facts:
    delivery, person = _delivery_of(letter), letter.invite
    if delivery is None or person is None:
        return {"fetch_until": None, "needs_passcode": False, "changes_only": False, "has_accepted": False}
    wordings = [pk for pk in (delivery.licence_id, delivery.licence.addendum_to_id) if pk is not None]
    return {
        "fetch_until": delivery.expires_at,
        "needs_passcode": bool(delivery.passcode_hash),
        "changes_only": delivery.changed_only,
        "has_accepted": Acceptance.objects.filter(invite=person, licence__in=wordings).exists(),
    }


def _delivery_of(letter: Letter) -> Delivery | None:
    """The delivery of a letter about 'delivery-2', or, of one that waited for it, 'delivery-2-paid'."""
    kind, _dash, rest = letter.occasion.partition("-")
    number = rest.partition("-")[0]
    if letter.kind != KIND or kind != "delivery" or not number.isdecimal():
        return None
    return letter.sitting.deliveries.filter(number=int(number)).select_related("licence").first()
