"""The second factor of somebody of the studio: an app that shows codes, passkeys (`passkeys`), and recovery codes for
when they are lost.

Whatever changes it asks for the password again (or, from whoever has none, for a code), ends every other session, and
is told to the address on record.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict, Missing, Refused
from galleries.models import AccountLetter, CodeApp, JournalLine, Passkey, RecoveryCode, Verb
from galleries.steps.people import codes, sealing, sessions
from galleries.steps.people.account import OPERATOR, check_present
from galleries.steps.people.account_letters import list_letter
from galleries.steps.people.invite import hash_of

# Wrong codes of an app, from wherever, before only a recovery code opens for the rest of the hour. With three codes
# right at any time, somebody who knows the password finds one within a day by a chance of 1 in 700.
WRONG_AN_HOUR = 20
HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class Standing:
    """What of it an account has."""

    app_since: datetime | None
    passkeys: list[Passkey]
    codes_left: int

    @property
    def stands(self) -> bool:
        return self.app_since is not None or bool(self.passkeys)


@dataclass(frozen=True)
class Key:
    """What the app is to be told, while it is being set up."""

    secret: str  # in base 32
    address: str  # otpauth://…


class Tried(StrEnum):
    RIGHT = "right"
    WRONG = "wrong"
    SHUT = "shut"
    SEALED = "sealed"


def stands(account: User) -> bool:
    """Is more than the password asked of this account?"""
    return has_app(account) or account.passkeys.exists()


def has_app(account: User) -> bool:
    return CodeApp.objects.filter(account=account).exclude(confirmed_at=None).exists()


def standing(account: User) -> Standing:
    app = CodeApp.objects.filter(account=account).first()
    since = app.confirmed_at if app is not None else None
    return Standing(since, list(account.passkeys.order_by("pk")), account.recovery_codes.unused().count())


# --- setting up, renewing, taking off ---


@transaction.atomic
def begin(account: User, by: Visitor, *, password: str, code: str) -> None:
    """A new key for an app, which counts from the first code on that is typed from it.

    Raises:
        BadInput: not the present password (from whoever has none, and has a second factor: not a code).
        Conflict: there is an app already.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    row = User.objects.select_for_update().get(pk=account.pk)
    prove(row, password, code)
    if has_app(row):
        raise Conflict(_("There is an app already; take it off before you set another one up."))
    CodeApp.objects.update_or_create(account=row, defaults={"secret": sealing.seal(codes.new_secret())})


def key_of(account: User, studio: str) -> Key | None:
    """The key that waits for its first code; None when none does, or the site's own key changed meanwhile."""
    app = CodeApp.objects.filter(account=account, confirmed_at=None).first()
    if app is None:
        return None
    try:
        secret = sealing.unseal(app.secret)
    except sealing.Unsealable:
        return None
    return Key(secret, codes.address_for_app(secret, account.get_username(), studio))


@transaction.atomic
def confirm(account: User, by: Visitor, *, code: str, here: str) -> list[str]:
    """The app is asked for from now on. Recovery codes, to be shown this once, when it is the first second factor.

    `here` is the key of the session that stays; all others end.

    Raises:
        BadInput: not the code that the app shows now.
        Missing: no app is being set up.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    app = CodeApp.objects.select_for_update().filter(account=account, confirmed_at=None).first()
    if app is None:
        raise Missing(_("No app is being set up here."))
    step = codes.step_of(_secret_of(app), codes.typed(code), timezone.now())
    if step is None:
        raise BadInput(_("That is not the code the app shows now. Are the phone's date and time right?"))
    first = not stands(account)
    app.last_step, app.confirmed_at = step, timezone.now()
    app.save(update_fields=["last_step", "confirmed_at"])
    tell_set(account, by.who, first)
    sessions.end_others(account, here)
    return first_codes(account)


def tell_set(account: User, who: str, first: bool) -> None:
    """Part of a verb that adds one: the account asks for it from now on, or has one more."""
    kinds = AccountLetter.Kind
    list_letter(kinds.SECOND_FACTOR_SET if first else kinds.SECOND_FACTOR_CHANGED, account.email, account)
    if first:
        JournalLine.write(None, who, Verb.SECOND_FACTOR_SET, account.get_username(), account=account.pk)


def first_codes(account: User) -> list[str]:
    """Recovery codes where there are none yet, to be shown this once; else nothing."""
    return [] if account.recovery_codes.exists() else _renewed(account)


@transaction.atomic
def new_recovery_codes(account: User, by: Visitor, *, password: str, code: str) -> list[str]:
    """New ones in place of all earlier ones, to be shown this once.

    Raises:
        BadInput: not the present password (from whoever has none: not a code).
        Conflict: there is no second factor that they could stand in for.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    if not stands(account):
        raise Conflict(_("There is no second factor here yet."))
    prove(account, password, code)
    JournalLine.write(None, by.who, Verb.RECOVERY_CODES_MADE, account.get_username(), account=account.pk)
    return _renewed(account)


def _renewed(account: User) -> list[str]:
    account.recovery_codes.all().delete()
    recovery_codes = [codes.new_recovery_code() for _number in range(codes.RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(account=account, code_hash=hash_of(codes.typed(code))) for code in recovery_codes
    )
    return recovery_codes


@transaction.atomic
def remove(account: User, by: Visitor, *, password: str, code: str, here: str, what: str = "") -> None:
    """Take off the app ('app'), one passkey ('passkey-' and its number), or everything. With the last of them the
    password alone opens again.

    Raises:
        BadInput: there is no such thing, or not the present password (from whoever has none: not a code).
    """
    require(by, Act.KEEP_ACCOUNT, account)
    if not stands(account):
        raise BadInput(_("There is no second factor here yet."))
    prove(account, password, code)
    if what == "app":
        CodeApp.objects.filter(account=account).delete()
    elif what:
        _without(account, what, by.who)
    if not what or not stands(account):
        _take_off(account, by.who, here)
    else:
        list_letter(AccountLetter.Kind.SECOND_FACTOR_CHANGED, account.email, account)
        sessions.end_others(account, here)


@transaction.atomic
def leave_off(account: User, by: Visitor) -> None:
    """End a setting up that was not finished."""
    require(by, Act.KEEP_ACCOUNT, account)
    CodeApp.objects.filter(account=account, confirmed_at=None).delete()


def _without(account: User, what: str, who: str) -> None:
    number = what.removeprefix("passkey-")
    passkey = account.passkeys.filter(pk=int(number)).first() if number.isdecimal() and len(number) < 19 else None
    if passkey is None:
        raise BadInput(_("That is not here (any more)."))
    passkey.delete()
    JournalLine.write(None, who, Verb.PASSKEY_REMOVED, passkey.name, account=account.pk)


def drop(username: str) -> User:
    """The operator's, for somebody who lost phone and codes.

    Raises:
        Missing: no such account, or it has no second factor.
    """
    account = User.objects.filter(username=username).first()
    if account is None:
        raise Missing(_("There is no account “%s”.") % username)
    if not stands(account):
        raise Missing(_("The account “%s” has no second factor.") % username)
    with transaction.atomic():
        _take_off(account, OPERATOR, "")
    return account


def _take_off(account: User, who: str, here: str) -> None:
    CodeApp.objects.filter(account=account).delete()
    account.passkeys.all().delete()
    account.recovery_codes.all().delete()
    JournalLine.write(None, who, Verb.SECOND_FACTOR_REMOVED, account.get_username(), account=account.pk)
    list_letter(AccountLetter.Kind.SECOND_FACTOR_REMOVED, account.email, account)
    sessions.end_others(account, here)


def prove(account: User, password: str, code: str) -> None:
    """Once more who it is: by the password; without one by a code, where there is anything to make codes."""
    if account.has_usable_password():
        check_present(account, password)
    elif stands(account):
        open_with(account, code)


# --- at the door ---


def open_with(account: User, code: str) -> None:
    """Nothing, when the code opens: one that the app shows now and that was not used yet, or a recovery code.

    Raises:
        BadInput: it does not.
        Refused: too many wrong ones within the hour; recovery codes still open.
    """
    plain = codes.typed(code)
    tried = _try_app(account, plain) if codes.is_of_app(plain) else _try_recovery(account, plain)
    if tried is Tried.SHUT:
        raise Refused(_("Too many wrong codes. Use a recovery code, or wait an hour."))
    if tried is Tried.SEALED:
        raise Refused(_("The site's key is another one now, so codes of apps open no more. Use a recovery code."))
    if tried is Tried.WRONG:
        raise BadInput(_("That code does not open. Each opens once; wait for the next one, or use a recovery code."))


@transaction.atomic
def _try_app(account: User, code: str) -> Tried:
    """Says what came of it instead of raising, so that a wrong one is kept count of."""
    app = CodeApp.objects.select_for_update().filter(account=account).exclude(confirmed_at=None).first()
    if app is None:
        return Tried.WRONG
    now = timezone.now()
    if app.wrong_since is None or app.wrong_since < now - HOUR:
        app.wrong, app.wrong_since = 0, now
    if app.wrong >= WRONG_AN_HOUR:
        return Tried.SHUT
    try:
        step = codes.step_of(sealing.unseal(app.secret), code, now)
    except sealing.Unsealable:
        return Tried.SEALED
    if step is not None and CodeApp.objects.filter(pk=app.pk, last_step__lt=step).update(last_step=step, wrong=0):
        return Tried.RIGHT
    app.wrong += 1
    app.save(update_fields=["wrong", "wrong_since"])
    return Tried.WRONG


@transaction.atomic
def _try_recovery(account: User, code: str) -> Tried:
    unused = account.recovery_codes.unused().filter(code_hash=hash_of(code))
    if not unused.update(used_at=timezone.now()):
        return Tried.WRONG
    who = Visitor(user=account).who
    JournalLine.write(None, who, Verb.RECOVERY_CODE_USED, account.get_username(), account=account.pk)
    list_letter(AccountLetter.Kind.RECOVERY_CODE_USED, account.email, account)
    return Tried.RIGHT


def _secret_of(app: CodeApp) -> str:
    """
    Raises:
        Conflict: it was sealed under another key.
    """
    try:
        return sealing.unseal(app.secret)
    except sealing.Unsealable:
        raise Conflict(_("The site's key changed meanwhile; begin again.")) from None
