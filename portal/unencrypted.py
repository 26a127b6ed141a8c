"""Plain http goes no further than this machine, unless somebody says so."""

from __future__ import annotations

from collections.abc import Iterable
from ipaddress import ip_address
from urllib.parse import urlsplit

from django.core.exceptions import ImproperlyConfigured


def check(base_url: str, hosts: Iterable[str], *, allowed: bool) -> None:
    """
    Raises:
        ImproperlyConfigured: the site would be reached from other machines without encryption.
    """
    if allowed or base_url.startswith("https://"):
        return
    beyond = [host for host in (urlsplit(base_url).hostname or "", *hosts) if not is_here(host)]
    if beyond:
        raise ImproperlyConfigured(
            f"Without https, passwords, links and pictures would go unencrypted to {beyond[0]!r}. Give PORTAL_URL an"
            " address with https (on a set: deploy/set-certificate), or say PORTAL_PLAIN_HTTP=yes."
        )


def is_here(host: str) -> bool:
    """Does the name lead to this machine and nowhere else (RFC 6761, 6.3; RFC 1122, 3.2.1.3; RFC 4291, 2.5.3)?"""
    name = host.strip("[]").lower().rstrip(".")
    if name == "localhost" or name.endswith(".localhost"):
        return True
    try:
        return ip_address(name).is_loopback
    except ValueError:
        return False
