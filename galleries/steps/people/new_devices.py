"""A sign-in from a device that the account was never used from: told to its owner, who may say 'that was not me'."""

from __future__ import annotations

from django.contrib.auth.models import User
from django.db import transaction

from galleries.access import NOBODY, Visitor
from galleries.models import AccountLetter, JournalLine, KnownDevice, Verb
from galleries.steps.people import devices, sessions, wishes
from galleries.steps.people.account_letters import list_letter


@transaction.atomic
def note(account: User, token: str, *, first: bool, address: str, agent: str) -> None:
    """Somebody signed in from the device with this token. A new one stands in the journal, and a letter goes to the
    address on record, but for an account's very `first` sign-in."""
    device = devices.seen(account, token, address=address, agent=agent)
    if device is None:
        return
    JournalLine.write(
        None, Visitor(user=account).who, Verb.NEW_DEVICE, account.get_username(),
        account=account.pk, network=device.network, browser=device.browser, system=device.system,
    )  # fmt: skip
    if not first:
        list_letter(AccountLetter.Kind.NEW_DEVICE, account.email, account, device=device)


@transaction.atomic
def disown(token: str) -> None:
    """'That was not me', said by whoever got the letter: every session ends, the password opens no more, the device is
    a stranger again, and a link to sign in goes to the address on record. A second factor stays.

    Raises:
        Missing: no such link, or it was used, or is too old.
    """
    device = devices.answered(token)
    account = User.objects.select_for_update().get(pk=device.account_id)
    if not KnownDevice.objects.filter(pk=device.pk, answer_hash=device.answer_hash).delete()[0]:
        return  # pressed twice at once
    account.set_unusable_password()
    account.save(update_fields=["password"])
    ended = sessions.end_others(account)
    JournalLine.write(
        None, NOBODY, Verb.SIGN_IN_DISOWNED, account.get_username(),
        account=account.pk, network=device.network, ended=ended,
    )  # fmt: skip
    wishes.wish(account.email)
