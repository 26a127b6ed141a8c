"""The studio's people: invited, given a role, their accounts shut and opened again by whoever runs the studio."""

from __future__ import annotations

import re

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, has_brackets, one_line, require
from galleries.errors import BadInput, Conflict
from galleries.models import AccountLetter, JournalLine, KnownDevice, SignInLink, Sitting, Studio, StudioRole, Verb
from galleries.steps.people import account as accounts
from galleries.steps.people import sessions
from galleries.steps.people.account_letters import COLLEAGUE_MINUTES, list_letter
from galleries.steps.people.invite import sign_in_link

Role = StudioRole.Role


def _asked(by: Visitor) -> None:
    require(by, Act.RUN_STUDIO, Studio.current(), _("Colleagues are let in by whoever runs the studio."))


def role_of(account: User) -> StudioRole.Role:
    row = StudioRole.objects.filter(account=account).first()
    return Role(row.role) if row is not None else Role.PHOTOGRAPHER


def invite(by: Visitor, *, name: str, email: str, role: str = Role.PHOTOGRAPHER) -> User:
    """An account for a colleague, and a letter with a link to come in by.

    Raises:
        Refused: not this person's to do.
        BadInput: no name, no address, or no such role.
        Conflict: an account has this address already.
    """
    _asked(by)
    name, email = one_line(name), email.strip()
    if not name:
        raise BadInput(_("Give your colleague's name: it stands beside what they do."))
    if len(name) > accounts.NAME_LENGTH or has_brackets(name):
        raise BadInput(_("Give the name without brackets, in at most %d characters.") % accounts.NAME_LENGTH)
    _check_role(role)
    accounts.check_address(email)
    with transaction.atomic():
        person = accounts.new_account(_free_username(email), email, name)
        StudioRole.objects.create(account=person, role=role)
        JournalLine.write(None, by.who, Verb.COLLEAGUE_INVITED, name, account=person.pk, role=role)
        list_letter(AccountLetter.Kind.COLLEAGUE, email, person)
    return person


def _free_username(email: str) -> str:
    """Of the address's first part: what stands before the @ in letters, digits, dots and hyphens."""
    base = re.sub(r"[^a-z0-9.-]+", "", email.partition("@")[0].lower()).strip(".-")[:60] or "photographer"
    for count in range(1, 1000):
        name = base if count == 1 else f"{base}-{count}"
        if not User.objects.filter(username__iexact=name).exists():
            return name
    raise Conflict(_("There are too many accounts with this name; take another address."))


def _check_role(role: str) -> None:
    if role not in Role.values:
        raise BadInput(_("A colleague is a photographer, or runs the studio."))


def link_for(account: User, by: Visitor) -> str:
    """A link to hand over, where no letter reaches them: for somebody who has never come in, and nobody else.

    Raises:
        Refused: not this person's to do, or the account is in use: a link would open it to whoever asks.
    """
    _asked(by)
    if account.last_login is not None or account.has_usable_password() or not account.is_active:
        raise Conflict(_("They have been here before; they ask for a link themselves where they sign in."))
    with transaction.atomic():
        SignInLink.objects.filter(user=account, used_at=None).delete()
        JournalLine.write(None, by.who, Verb.COLLEAGUE_INVITED, account.get_full_name(), account=account.pk)
        return sign_in_link(user=account, minutes=COLLEAGUE_MINUTES)


def give_role(account: User, by: Visitor, role: str) -> None:
    """
    Raises:
        Refused: not this person's to do.
        BadInput: no such role.
        Conflict: nobody would run the studio any more.
    """
    _asked(by)
    _check_role(role)
    with transaction.atomic():
        heads = list(StudioRole.objects.select_for_update().heads().values_list("account", flat=True))
        if role != Role.HEAD and heads == [account.pk]:
            raise Conflict(_("Somebody has to run the studio: give that to a colleague first."))
        before = role_of(account)
        StudioRole.objects.update_or_create(account=account, defaults={"role": role})
        JournalLine.write(None, by.who, Verb.ROLE_GIVEN, account.get_full_name(), before, role, account=account.pk)


def end(account: User, by: Visitor, heir: User | None = None) -> int:
    """Shut a colleague's account at once: every session and link is over. Their sittings go to `heir`; how many.

    Raises:
        Refused: not this person's to do, or their own account.
        Conflict: there are sittings and nobody to take them over.
    """
    _asked(by)
    if by.user is not None and by.user.pk == account.pk:
        raise Conflict(_("You cannot shut your own account; a colleague who runs the studio can."))
    if account.is_superuser:
        raise Conflict(_("This is the operator's account; it is the operator's to shut."))
    with transaction.atomic():
        theirs = Sitting.objects.select_for_update().filter(photographer=account)
        count = theirs.count()
        if count and (heir is None or not heir.is_active or heir.pk == account.pk):
            raise Conflict(_("They have sittings: say which colleague takes them over."))
        theirs.update(photographer=heir)
        Sitting.colleagues.through.objects.filter(user_id=account.pk).delete()
        User.objects.filter(pk=account.pk).update(is_active=False)
        sessions.end_others(account)
        SignInLink.objects.filter(user=account, used_at=None).delete()
        KnownDevice.objects.filter(account=account).delete()
        JournalLine.write(
            None, by.who, Verb.COLLEAGUE_ENDED, account.get_full_name(), account=account.pk, sittings=count
        )
    return count


def bring_back(account: User, by: Visitor) -> None:
    """Open a shut account again. Sittings that went to somebody else stay with them."""
    _asked(by)
    if account.is_active:
        raise Conflict(_("This account is open already."))
    with transaction.atomic():
        User.objects.filter(pk=account.pk).update(is_active=True)
        JournalLine.write(None, by.who, Verb.COLLEAGUE_BACK, account.get_full_name(), account=account.pk)
