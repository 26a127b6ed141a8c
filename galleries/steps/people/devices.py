"""Browsers from which somebody of the studio signed in before, each known again by the hash of its own cookie's token.

Whose device it is cannot be told, only that it was here; nothing opens by it. The letter about a new one carries a link
by which its reader says 'that was not me'.
"""

from __future__ import annotations

import secrets
from datetime import timedelta

from django.conf import settings
from django.contrib.auth.models import User
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries.errors import Missing
from galleries.models import KnownDevice
from galleries.steps.people import browsers
from galleries.steps.people.invite import TOKEN_BYTES, hash_of
from galleries.steps.people.sign_ins import shortened

KEPT = timedelta(days=400)  # as long as a browser keeps a cookie at most (RFC 6265bis, 5.6.1)
ANSWER = timedelta(days=7)  # own choice


def new_token() -> str:
    return secrets.token_urlsafe(TOKEN_BYTES)


def seen(account: User, token: str, *, address: str, agent: str) -> KnownDevice | None:
    """Note the device; it is returned when it was not known for this account."""
    browser, network = browsers.read(agent), shortened(address)
    now = timezone.now()
    device, is_new = KnownDevice.objects.get_or_create(
        account=account,
        token_hash=hash_of(token),
        defaults={"network": network, "browser": browser.family, "system": browser.system},
    )
    if is_new:
        return device
    KnownDevice.objects.filter(pk=device.pk).update(last_at=now)
    return None


def answer_link(device: KnownDevice) -> str:
    """For the letter: a fresh address where its reader says that it was somebody else, in place of an earlier one."""
    token = new_token()
    KnownDevice.objects.filter(pk=device.pk).update(answer_hash=hash_of(token))
    return f"{settings.BASE_URL}/in/{token}/not-me"


def answered(token: str) -> KnownDevice:
    """The device that such a link is about.

    Raises:
        Missing: no such link, or it was used, or is too old.
    """
    since = timezone.now() - ANSWER
    devices = KnownDevice.objects.filter(answer_hash=hash_of(token), first_at__gt=since, account__is_active=True)
    device = devices.select_related("account").first()
    if device is None:
        raise Missing(_("This link was used already or is too old."))
    return device


def forget() -> None:
    """The clock's: devices that no browser has a cookie for any more."""
    KnownDevice.objects.filter(last_at__lt=timezone.now() - KEPT).delete()
