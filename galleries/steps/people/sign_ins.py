"""Who signed in to the studio and who tried, in the journal: no password, no token, an address only in short."""

from __future__ import annotations

from ipaddress import IPv6Address, ip_address, ip_network

from django.contrib.auth.models import User
from django.db.models import QuerySet

from galleries.access import NOBODY, Visitor
from galleries.models import JournalLine, Verb

SHORT = {4: 24, 6: 48}  # bits of an address that are kept: the network, not the machine; own choice


def shortened(address: str) -> str:
    """The network that the address is of; empty when it is no address.

    An IPv4 address that a socket of both kinds writes as IPv6 (RFC 4291, 2.5.5.2) is of its own network: the first bits
    of all of those are the same.
    """
    try:
        ip = ip_address(address.split("%")[0])
    except ValueError:
        return ""
    if isinstance(ip, IPv6Address) and ip.ipv4_mapped is not None:
        ip = ip.ipv4_mapped
    return str(ip_network((ip, SHORT[ip.version]), strict=False))


def note(account: User, *, address: str, second_factor: bool) -> None:
    """Somebody came in, by a password or by a mailed link."""
    JournalLine.write(
        None, Visitor(user=account).who, Verb.SIGNED_IN, account.get_username(),
        account=account.pk, network=shortened(address), second_factor=second_factor,
    )  # fmt: skip


def note_failed(name: str, *, address: str) -> None:
    """A wrong password or a wrong code. What was typed as a name is kept only when there is such an account: people
    type passwords there by mistake."""
    account = User.objects.filter(username=name).first()
    known = {"account": account.pk} if account is not None else {}
    thing = account.get_username() if account is not None else ""
    JournalLine.write(None, NOBODY, Verb.SIGN_IN_FAILED, thing, network=shortened(address), **known)


def about_account(account: User) -> QuerySet[JournalLine]:
    """The journal's lines about this account, the newest first."""
    return JournalLine.objects.filter(sitting_slug="", detail__account=account.pk).order_by("-pk")
