"""Who is asked to approve a version."""

from __future__ import annotations

from galleries.models import Invite, Sitting


def roles_asked(sitting: Sitting) -> list[str]:
    """Whose approval a version needs: the subject's, and the representation's where the sitting says so."""
    asked: list[str] = [Invite.Role.SUBJECT]
    if sitting.representation_approves and any(
        person.holds() for person in sitting.invites.filter(role=Invite.Role.REPRESENTATION)
    ):
        asked.append(Invite.Role.REPRESENTATION)
    return asked


def approvers(sitting: Sitting) -> list[Invite]:
    return [person for person in sitting.invites.filter(role__in=roles_asked(sitting)) if person.holds()]
