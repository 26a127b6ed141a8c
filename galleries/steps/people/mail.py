"""How letters leave this site, and whether the addresses in them lead anybody else here."""

from __future__ import annotations

from urllib.parse import urlsplit

from django.conf import settings

from portal.unencrypted import is_here

UNSPECIFIED = {"0.0.0.0", "::"}  # noqa: S104  # nosec B104 - an address that is compared, not listened at
FOLDER, CONSOLE, SERVER = "folder", "console", "smtp"


def goes_out() -> bool:
    """Is there a mail server? Else letters lie in a folder, or in the log, and nobody gets them."""
    return bool(settings.MAIL == SERVER)


def is_this_machine(address: str) -> bool:
    """Does a web address lead only whoever sits at this machine to it? (RFC 6761, 6.3; RFC 1122, 3.2.1.3)"""
    host = urlsplit(address).hostname or ""
    return is_here(host) or host in UNSPECIFIED
