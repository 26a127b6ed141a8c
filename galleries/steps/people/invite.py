"""Letting people in: invites, the links that open them, and sign-in by a mailed link.

A token has 192 bits from `secrets`; only its SHA-256 is kept. A link is exchanged for a session cookie at once
and never stays in the address bar.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, has_brackets, one_line, require
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import Invite, InviteLink, JournalLine, SignInLink, Sitting, Verb
from galleries.steps import clashes
from galleries.steps.people import caps, letters
from galleries.steps.people.composing import compose

TOKEN_BYTES = 24
SIGN_IN_MINUTES = 30
NAME_LENGTH = 120


def hash_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def invite(
    sitting: Sitting,
    role: str,
    name: str,
    email: str,
    by: Visitor,
    *,
    language: str = "",
    days: int | None = None,
    may_pass_on: bool = False,
    by_letter: bool = False,
) -> Invite:
    """Let a person into a sitting, by a letter that carries the link; else the link is made by `new_link`.

    Raises:
        Refused: not this person's to do.
        BadInput: no name, no such role, or an address that is none.
        Refused: the subject is a minor and no consent of a parent or guardian is recorded.
        Conflict: the person has an open invite in this role already.
    """
    require(by, Act.RUN, sitting, _("Inviting people is the photographer's to do."))
    person = _let_in(sitting, role, name, email, by, days=days, language=language, may_pass_on=may_pass_on)
    if by_letter:
        letters.list_invitation(person, by.who)
    return person


def _let_in(
    sitting: Sitting, role: str, name: str, email: str, by: Visitor, *, days: int | None = None, **fields: Any
) -> Invite:
    name, email = one_line(name), email.strip().lower()
    if not name:
        raise BadInput(_("Who is invited? Give a name."))
    if has_brackets(name):
        raise BadInput(_("Give the name without brackets; what somebody is in this sitting stands behind it anyway."))
    if len(name) > NAME_LENGTH:
        raise BadInput(_("The name is too long; %d characters fit.") % NAME_LENGTH)
    if role not in Invite.Role.values:
        raise BadInput(
            _("There is no role “%(role)s”; use one of %(roles)s.")
            % {"role": role, "roles": ", ".join(Invite.Role.values)}
        )
    try:
        validate_email(email)
    except ValidationError:
        raise BadInput(_("“%s” is not an e-mail address.") % email) from None
    check_consent(sitting)
    if sitting.is_holding:
        raise Refused(_("Here lie the frames of a whole day. Invite people to their own sittings."))
    try:
        with transaction.atomic():
            person = Invite.objects.create(
                sitting=sitting,
                role=role,
                name=name,
                email=email,
                expires_at=timezone.now() + timedelta(days=days or settings.INVITE_DAYS),
                **fields,
            )
            JournalLine.write(sitting, by.who, Verb.INVITED, f"{name} ({role})")
    except IntegrityError as error:
        if not clashes.at_once(error):
            raise
        if by.invite is not None:  # who passes an invite on sends no link
            again = _("%(name)s is invited already. Whoever lost the link has it sent again on the page it leads to.")
            raise Conflict(again % {"name": name}) from None
        raise Conflict(_("%(name)s is invited already; send the link again instead.") % {"name": name}) from None
    return person


def check_consent(sitting: Sitting) -> None:
    """
    Raises:
        Refused: a minor without a recorded consent.
    """
    if sitting.lacks_consent:
        raise Refused(
            _("%s is a minor: record who consented as parent or guardian, and when, before anybody is invited.")
            % sitting.subject_name
        )


def new_link(invite: Invite) -> str:
    """A fresh link for an invite; earlier links go on working, see `openings.replace`. Returns the whole address, shown
    or mailed once."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    InviteLink.objects.create(invite=invite, token_hash=hash_of(token))
    return f"{settings.BASE_URL}/i/{token}"


def revoke(invite: Invite, by: Visitor) -> None:
    """Shut an invite and those passed on from it, from the next request on. Marks are kept."""
    require(by, Act.RUN, invite, _("Inviting people is the photographer's to do."))
    with transaction.atomic():
        for one in [invite, *invite.passed_to.all()]:
            Invite.objects.unrevoked().filter(pk=one.pk).update(revoked_at=timezone.now())
        JournalLine.write(invite.sitting, by.who, Verb.INVITE_REVOKED, str(invite))
        stages.touch(invite.sitting)


def prolong(invite: Invite, days: int, by: Visitor) -> None:
    require(by, Act.RUN, invite, _("Inviting people is the photographer's to do."))
    now = timezone.now()
    with transaction.atomic():
        if invite.expires_at <= now:  # links that nobody opened died with it
            InviteLink.objects.filter(invite=invite, last_used_at=None, ended_at=None).update(ended_at=now)
        Invite.objects.filter(pk=invite.pk).update(expires_at=now + timedelta(days=days))
        JournalLine.write(invite.sitting, by.who, Verb.INVITE_PROLONGED, str(invite), days=days)


def allow_pass_on(invite: Invite, allowed: bool, by: Visitor) -> None:
    require(by, Act.RUN, invite, _("Inviting people is the photographer's to do."))
    with transaction.atomic():
        Invite.objects.filter(pk=invite.pk).update(may_pass_on=allowed)
        JournalLine.write(
            invite.sitting, by.who, Verb.PASSING_ON_ALLOWED if allowed else Verb.PASSING_ON_STOPPED, str(invite)
        )


def pass_on(name: str, email: str, by: Visitor) -> Invite:
    """A representation lets a colleague of the agency write on the same shortlist; a letter takes them the link.

    Raises:
        Refused: the photographer did not allow it.
    """
    giver = by.invite
    why = _("The photographer has not allowed this invite to be passed on.")
    if giver is None:
        raise Refused(why)
    require(by, Act.PASS_ON, giver.sitting, why)
    caps.plain_name(name)
    with transaction.atomic():  # never an invite that does not hang on the giver's
        Sitting.objects.select_for_update(of=("self",)).get(pk=giver.sitting_id)  # two at once are counted one by one
        caps.passing_on(giver)
        colleague = _let_in(giver.sitting, giver.role, name, email, by, language=giver.language)
        Invite.objects.filter(pk=colleague.pk).update(passed_from=giver.voice, expires_at=giver.expires_at)
        colleague.refresh_from_db()
        letters.list_invitation(colleague, by.who)
        letters.notify_photographer(giver.sitting, "passed", about=f"invite-{colleague.pk}")
    return colleague


def sign_in_link(
    *, user: User | None = None, email: str = "", minutes: int = SIGN_IN_MINUTES, sent_to: str = ""
) -> str:
    """An address that signs a photographer in, or opens an agent's desk, once and for a short time."""
    token = secrets.token_urlsafe(TOKEN_BYTES)
    SignInLink.objects.create(
        user=user,
        email=email.lower(),
        sent_to=sent_to.lower(),
        token_hash=hash_of(token),
        expires_at=timezone.now() + timedelta(minutes=minutes),
    )
    return f"{settings.BASE_URL}/in/{token}"


def use_sign_in_link(token: str) -> SignInLink:
    """
    Raises:
        Missing: no such link, or used or expired.
    """
    now = timezone.now()
    used = SignInLink.objects.filter(token_hash=hash_of(token), used_at=None, expires_at__gt=now).update(used_at=now)
    if not used:
        raise Missing(_("This sign-in link was used already or is too old. Ask for a new one."))
    return SignInLink.objects.select_related("user").get(token_hash=hash_of(token))


def invites_of(email: str) -> list[Invite]:
    """The open invites as representation under one address: an agent's desk."""
    invites = Invite.objects.holding().filter(email=email.lower(), role=Invite.Role.REPRESENTATION)
    invites = invites.select_related("sitting", "passed_from")
    return [one for one in invites.order_by("sitting__title") if one.holds()]


def mail_sign_in_link(email: str) -> bool:
    """Mail a sign-in link to a photographer or an agent with that address; False (and silence) for anybody else."""
    email = email.strip().lower()
    user = _user_of(email)
    if not caps.sign_in_letter_allowed(user.email.lower() if user else email):
        return False
    if user is not None:
        # Letters that a database takes for alike need not be one address: the link goes to the address on record.
        link, email = sign_in_link(user=user, sent_to=user.email), user.email
    elif invites_of(email):
        link = sign_in_link(email=email, sent_to=email)
    else:
        return False
    letter = compose("desk", email, get_language() or "", link, minutes=SIGN_IN_MINUTES)
    try:
        letter.send()
    except Exception:  # the worker tries again, with a link of its own
        SignInLink.objects.filter(token_hash=hash_of(link.rsplit("/", 1)[1])).delete()
        raise
    return True


def _user_of(email: str) -> User | None:
    """The active user with exactly this address, whatever the case of its ASCII letters.

    'Is alike' is not enough: PostgreSQL's UPPER makes an ı an I, so that another domain would be taken for this one.
    """
    if not caps.is_searchable(email):
        return None
    users = User.objects.filter(email__iexact=email, is_active=True).order_by("pk")
    return next((user for user in users if user.email.lower() == email), None)
