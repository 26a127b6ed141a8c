"""What was done before is not typed again: a sitting's settings and looks, a look's set-up, people invited before."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from galleries import access
from galleries.access import Act, Visitor, require
from galleries.errors import Refused
from galleries.models import Invite, Look, Sitting
from galleries.steps.planning import sitting_plan
from galleries.steps.sorting import looks

# Of one day and of one consent: a copy asks for them anew.
_NOT_AGAIN = {"held_on", "deadline", "retouch_by", "keep_until", "guardian_consent_on", "guardian_consent_note"}
_OF_A_LOOK = tuple(name for name in looks.EDITABLE if name not in {"hidden", "kept_from_representation"})


def copy_sitting(sitting: Sitting, by: Visitor) -> Sitting:
    """A new sitting of whoever copies, with the settings and planned looks of this one; without its days, its consent,
    its frames and people.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, sitting, _("A sitting is copied by its photographer."))
    if by.user is None:
        raise Refused(_("A sitting is copied by its photographer."))
    settings = {name: getattr(sitting, name) for name in sitting_plan.SETTINGS if name not in _NOT_AGAIN}
    with transaction.atomic():
        copy = sitting_plan.create_sitting(by.user, **{**settings, "title": _("%s, copy") % sitting.title[:100]})
        for look in sitting.looks.all():
            _copied(look, copy, by)
    return copy


def copy_look(look: Look, by: Visitor) -> Look:
    """The same set-up once more, at the end of the plan, without frames. Raises `Refused`: not this person's to do."""
    require(by, Act.RUN, look, _("Looks are the photographer's to plan."))
    return _copied(look, look.sitting, by, _("%s, copy") % look.title[:70])


def _copied(look: Look, into: Sitting, by: Visitor, title: str = "") -> Look:
    fields = {name: getattr(look, name) for name in _OF_A_LOOK if name != "title"}
    return looks.new_look(into, title or look.title, by, **fields)


@dataclass(frozen=True)
class Known:
    """Somebody who was invited to a sitting of this photographer before."""

    name: str
    email: str
    role: str
    language: str


def known_people(user: User, sitting: Sitting, most: int = 200) -> list[Known]:
    """Whoever was invited to other sittings that this user works on and is not invited to this one; each address once,
    as it was given last, by name."""
    theirs = access.sittings_of(user).exclude(pk=sitting.pk).values("pk")
    here = {email.lower() for email in sitting.invites.values_list("email", flat=True)}
    rows = Invite.objects.filter(sitting__in=theirs, passed_from=None).exclude(email="").order_by("-pk")
    latest: dict[str, Known] = {}
    for name, email, role, language in rows.values_list("name", "email", "role", "language")[: 5 * most]:
        if email.lower() not in here:
            latest.setdefault(email.lower(), Known(name, email, role, language))
    return sorted(latest.values(), key=lambda one: one.name.casefold())[:most]
