"""Who is asked to approve a version."""

from __future__ import annotations

from galleries.models import Final, Frame, Invite, Sitting


def roles_asked(final: Final) -> list[str]:
    """Whose approval a version of this final needs: the subject's, and the representation's where the sitting says so
    and the frame is not kept from them."""
    asked: list[str] = [Invite.Role.SUBJECT]
    if _representation_asked(final.sitting) and not final.frame.is_kept_back:
        asked.append(Invite.Role.REPRESENTATION)
    return asked


def _representation_asked(sitting: Sitting) -> bool:
    people = sitting.invites.filter(role=Invite.Role.REPRESENTATION)
    return sitting.representation_approves and any(person.holds() for person in people)


def approvers(sitting: Sitting) -> list[Invite]:
    """Who gets a letter that retouches are there: whoever is asked about one that waits."""
    roles: list[str] = [Invite.Role.SUBJECT]
    waiting = sitting.finals.listed().filter(state=Final.State.SHOWN)
    if _representation_asked(sitting) and waiting.filter(frame__in=Frame.objects.let_go()).exists():
        roles.append(Invite.Role.REPRESENTATION)
    return [person for person in sitting.invites.filter(role__in=roles) if person.holds()]
