"""A photographer's own account: name, address and password; making accounts, which is the operator's.

Address and password change only with the present password, where there is one: whoever finds a studio's machine
unlocked must not be able to keep the door open. The address on record hears of either.
"""

from __future__ import annotations

from django.contrib.auth.models import Permission, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, has_brackets, one_line, require
from galleries.errors import BadInput, Conflict
from galleries.models import AccountLetter, JournalLine, StudioRole, Verb
from galleries.steps.people import sessions
from galleries.steps.people.account_letters import list_letter

PASSWORD_LENGTH = 1000  # the hash takes longer ones, but nobody types them
NAME_LENGTH = 150
OPERATOR = "the operator"  # in the journal: who runs commands on the site's machine


@transaction.atomic
def change_data(account: User, by: Visitor, *, first_name: str, last_name: str, email: str, password: str) -> None:
    """Keep name and address. A new address needs the present password, and a letter goes to the old one.

    Raises:
        BadInput: no name, an address that is none, or not the present password.
        Conflict: another account has the address.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    first, last, email = one_line(first_name), one_line(last_name), email.strip()
    if not first and not last:
        raise BadInput(_("Give your name: it stands beside what you do."))
    if max(len(first), len(last)) > NAME_LENGTH:
        raise BadInput(_("The name is too long; %d characters fit.") % NAME_LENGTH)
    if has_brackets(first + last):
        raise BadInput(_("Give the name without brackets; what somebody is in this sitting stands behind it anyway."))
    row = User.objects.select_for_update().get(pk=account.pk)
    row.first_name, row.last_name = first, last
    if email.lower() != row.email.lower():
        check_present(row, password)
        check_address(email, row)
        list_letter(AccountLetter.Kind.ADDRESS_CHANGED, row.email, row)
        row.email = email
        JournalLine.write(None, by.who, Verb.ADDRESS_CHANGED, row.get_username(), account=row.pk)
    row.save(update_fields=["first_name", "last_name", "email"])


@transaction.atomic
def change_password(account: User, by: Visitor, *, present: str, new: str, again: str, here: str) -> None:
    """A new password; `account` gets it too, so that the page can keep its own session, whose key is `here`. All
    others end.

    Raises:
        BadInput: not the present one, the two new ones differ, or the new one is too weak (each weakness a sentence).
    """
    require(by, Act.KEEP_ACCOUNT, account)
    row = User.objects.select_for_update().get(pk=account.pk)
    check_present(row, present)
    if new != again:
        raise BadInput(_("The new password was not typed the same twice."))
    check_strength(new, row)
    row.set_password(new)
    row.save(update_fields=["password"])
    account.password = row.password
    sessions.end_others(row, here)
    JournalLine.write(None, by.who, Verb.PASSWORD_CHANGED, row.get_username(), account=row.pk)
    list_letter(AccountLetter.Kind.PASSWORD_CHANGED, row.email, row)


def check_present(account: User, password: str) -> None:
    """
    Raises:
        BadInput: the account has a password, and this is not it.
    """
    if account.has_usable_password() and not account.check_password(password[:PASSWORD_LENGTH]):
        raise BadInput(_("That is not your present password."))


def check_strength(password: str, account: User) -> None:
    """
    Raises:
        BadInput: too short, too common, too like the account's own data, or too long.
    """
    if len(password) > PASSWORD_LENGTH:
        raise BadInput(_("The password is too long; %d characters fit.") % PASSWORD_LENGTH)
    try:
        validate_password(password, account)
    except ValidationError as error:
        raise BadInput(" ".join(error.messages)) from None


def check_address(email: str, account: User | None = None) -> None:
    """
    Raises:
        BadInput: it is no address.
        Conflict: it is another account's: a mailed link must lead to one person.
    """
    try:
        validate_email(email)
    except ValidationError:
        raise BadInput(_("“%s” is not an e-mail address.") % email) from None
    others = User.objects.filter(email__iexact=email)
    if (others.exclude(pk=account.pk) if account is not None else others).exists():
        raise Conflict(_("Another account of this studio has this address."))


def make(username: str, email: str, name: str, *, upkeep: bool = False, head: bool = False) -> User:
    """A photographer's account without a password: they come in by a link, and may set one on their page.

    It is no superuser; with `upkeep` it may use the pages of upkeep. With `head` it runs the studio; so does the first
    account that there is.

    Raises:
        BadInput: no name to sign in with, or no address.
        Conflict: the name or the address is taken.
    """
    with transaction.atomic():
        person = new_account(username, email, name)
        if head or not StudioRole.objects.heads().exists():
            StudioRole.objects.create(account=person, role=StudioRole.Role.HEAD)
        if upkeep:
            allow_upkeep(person)
        JournalLine.write(None, OPERATOR, Verb.ACCOUNT_MADE, person.get_username(), account=person.pk)
    return person


def new_account(username: str, email: str, name: str) -> User:
    """Part of a verb. Raises as `make`."""
    username = User.normalize_username(username.strip())
    if not username or len(username) > NAME_LENGTH or not username.replace("-", "").replace(".", "").isalnum():
        raise BadInput(_("“%s” is no name to sign in with: use letters, digits, dots and hyphens.") % username)
    check_address(email)
    first, _space, last = one_line(name).partition(" ")
    if User.objects.filter(username__iexact=username).exists():
        raise Conflict(_("There is an account “%s” already.") % username)
    account = User(username=username, email=email, first_name=first, last_name=last)
    account.set_unusable_password()
    account.save()
    return account


def allow_upkeep(account: User) -> None:
    """The pages of upkeep, by a permission of their own instead of a superuser's power."""
    account.is_staff = True
    account.save(update_fields=["is_staff"])
    account.user_permissions.add(Permission.objects.get(content_type__app_label="galleries", codename="upkeep"))
