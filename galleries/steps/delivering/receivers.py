"""Who is told of a delivery."""

from __future__ import annotations

from galleries.access import Visitor, files_shown_to
from galleries.models import Delivery, Invite

ROLES = (Invite.Role.SUBJECT, Invite.Role.REPRESENTATION, Invite.Role.RECIPIENT)


def of(delivery: Delivery) -> list[Invite]:
    """Everybody invited for whom there is a file in it, whether their invite still holds or not."""
    invited = delivery.sitting.invites.filter(role__in=ROLES)
    return [one for one in invited if files_shown_to(Visitor(invite=one), delivery).exists()]
