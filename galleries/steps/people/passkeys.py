"""Passkeys (W3C Web Authentication, level 3) as a second factor: added, named, asked for, taken off.

The key pair never leaves the person's device; here lies the public half. Which device made it is not asked
(attestation 'none'). Origin and relying party are the site's own address, from the settings.
"""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Mapping
from ipaddress import ip_address
from typing import Any, TypeVar
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _
from fido2.cose import CoseKey
from fido2.server import Fido2Server
from fido2.webauthn import (
    AttestedCredentialData,
    AuthenticationResponse,
    AuthenticatorData,
    PublicKeyCredentialRpEntity,
    PublicKeyCredentialUserEntity,
    ResidentKeyRequirement,
    UserVerificationRequirement,
)

from galleries.access import Act, Visitor, one_line, require
from galleries.errors import BadInput, Conflict, Refused
from galleries.models import JournalLine, Passkey, Studio, Verb
from galleries.steps import clashes
from galleries.steps.people import second_factor, sessions

log = logging.getLogger(__name__)
NAME_LENGTH = 60
PASSKEYS = 10  # of one account; own choice
ID_LENGTH = 1023  # the longest id of a credential (level 3, 7.1)
# The password came first, so that a touch will do where the device cannot ask who touches it.
VERIFYING = UserVerificationRequirement.PREFERRED
ALGORITHM = 3  # of a public key, as RFC 9052 numbers it

Question = dict[str, Any]  # for navigator.credentials, in the JSON form of level 3
State = dict[str, Any]  # what was asked; it stays on the server and is used once
Answered = TypeVar("Answered")


def possible() -> bool:
    """Do browsers know passkeys at the site's address? Under a name, and by https or on this machine itself."""
    address = urlsplit(settings.BASE_URL)
    host = address.hostname or ""
    try:
        ip_address(host)
    except ValueError:
        return address.scheme == "https" or host == "localhost"
    return False


def _server() -> Fido2Server:
    address = urlsplit(settings.BASE_URL)
    asks = PublicKeyCredentialRpEntity(id=address.hostname or "", name=Studio.current().name)
    return Fido2Server(asks, verify_origin=lambda origin: origin == f"{address.scheme}://{address.netloc}")


# --- adding one, taking one off ---


@transaction.atomic
def ask_for_new(account: User, by: Visitor, *, password: str, code: str) -> tuple[Question, State]:
    """What the browser is to make a passkey for.

    Raises:
        BadInput: not the present password (from whoever has none, and has a second factor: not a code).
        Refused: the site's address is none that passkeys know.
        Conflict: there are as many as there may be.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    if not possible():
        raise Refused(_("Passkeys need the site to be opened by its name, over https."))
    second_factor.prove(account, password, code)
    have = _credentials(account)
    if len(have) >= PASSKEYS:
        raise Conflict(_("%d passkeys are enough; take one off first.") % PASSKEYS)
    person = PublicKeyCredentialUserEntity(
        # Opaque (level 3, 14.6.1): whoever reads the device learns no number of ours.
        id=salted_hmac("passkeys-of", str(account.pk), algorithm="sha256").digest(),
        name=account.get_username(),
        display_name=account.get_full_name() or account.get_username(),
    )
    options, state = _server().register_begin(
        person, have, resident_key_requirement=ResidentKeyRequirement.PREFERRED, user_verification=VERIFYING
    )
    return dict(options), dict(state)


@transaction.atomic
def add(account: User, by: Visitor, *, state: State, answer: Mapping[str, Any], name: str, here: str) -> list[str]:
    """Keep what the browser made. Recovery codes, to be shown this once, when it is the account's first second factor.

    Raises:
        BadInput: no name, or no answer to what was asked.
        Conflict: the passkey is kept already.
    """
    require(by, Act.KEEP_ACCOUNT, account)
    name = one_line(name)
    if not name or len(name) > NAME_LENGTH:
        raise BadInput(_("Give the passkey a name by which you know the device, of at most %d letters.") % NAME_LENGTH)
    registration = _read(lambda: _server().register_complete(state, answer))
    credential = registration.credential_data
    if credential is None or len(credential.credential_id) > ID_LENGTH:
        raise BadInput(_no_passkey())
    if credential.public_key.get(ALGORITHM) not in CoseKey.supported_algorithms():
        raise BadInput(_no_passkey())
    first = not second_factor.stands(account)
    try:
        with transaction.atomic():
            Passkey.objects.create(
                account=account,
                name=name,
                credential=bytes(credential),
                id_hash=_hash(credential.credential_id),
                sign_count=registration.counter,
            )
    except IntegrityError as error:
        if not clashes.at_once(error):
            raise
        raise Conflict(_("That passkey is here already.")) from None
    JournalLine.write(None, by.who, Verb.PASSKEY_ADDED, name, account=account.pk)
    second_factor.tell_set(account, by.who, first)
    sessions.end_others(account, here)
    return second_factor.first_codes(account)


# --- at the door ---


def ask(account: User) -> tuple[Question, State]:
    """What the browser is to sign, by one of the account's passkeys."""
    options, state = _server().authenticate_begin(_credentials(account), user_verification=VERIFYING)
    return dict(options), dict(state)


@transaction.atomic
def open_with(account: User, state: State, answer: Mapping[str, Any]) -> None:
    """Nothing, when the answer is signed by one of the account's passkeys.

    Raises:
        BadInput: it is not.
        Refused: the device's count of signatures went back: there may be a copy of it (level 3, 6.1.1).
    """
    credentials = _credentials(account)
    used = _read(lambda: _server().authenticate_complete(state, credentials, answer))
    signed: AuthenticatorData = AuthenticationResponse.from_dict(answer).response.authenticator_data
    passkeys = Passkey.objects.filter(account=account, id_hash=_hash(used.credential_id))
    if signed.counter or not passkeys.filter(sign_count=0).exists():
        passkeys = passkeys.filter(sign_count__lt=signed.counter)
    if not passkeys.update(sign_count=signed.counter, last_used_at=timezone.now()):
        copied = _("This passkey may have been copied, so it opens no more. Use a code, and take the passkey off.")
        raise Refused(copied)


def _credentials(account: User) -> list[AttestedCredentialData]:
    return [AttestedCredentialData(bytes(one.credential)) for one in account.passkeys.order_by("pk")]


def _hash(credential_id: bytes) -> str:
    return hashlib.sha256(credential_id).hexdigest()


def _read(read: Callable[[], Answered]) -> Answered:
    """
    Raises:
        BadInput: the answer is none to what was asked, or no answer at all.
    """
    try:
        return read()
    except Exception as error:  # noqa: BLE001 - the library takes apart what a stranger sent: whatever breaks, it is none
        log.info("No answer of a passkey: %s", error)
        raise BadInput(_no_passkey()) from None


def _no_passkey() -> str:
    return _("The passkey did not answer as it should. Try again.")
