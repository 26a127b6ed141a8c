"""Plain http stays on this machine; cookies over https are bound to the host."""

from __future__ import annotations

import pytest
from django.core.exceptions import ImproperlyConfigured

from portal import cookies, unencrypted

HERE = ("localhost", "127.0.0.1", "[::1]")


@pytest.mark.parametrize("host", [*HERE, "LOCALHOST", "site.localhost", "127.8.0.1", "::1"])
def test_names_of_this_machine(host: str) -> None:
    """RFC 6761, 6.3 (localhost and below), RFC 1122, 3.2.1.3 (127/8), RFC 4291, 2.5.3 (::1)."""
    assert unencrypted.is_here(host)


@pytest.mark.parametrize("host", ["192.168.4.20", "portal.example", "0.0.0.1", "localhost.example", "*", "", "fe80::1"])
def test_names_that_lead_further(host: str) -> None:
    assert not unencrypted.is_here(host)


@pytest.mark.parametrize(
    ("address", "hosts"),
    [
        ("http://portal.example", HERE),
        ("http://192.168.4.20:8010", HERE),
        ("http://localhost:8010", (*HERE, "192.168.4.20")),
        ("http://localhost:8010", ("*",)),
        ("portal.example", HERE),
    ],
)
def test_without_https_the_site_does_not_start_for_other_machines(address: str, hosts: tuple[str, ...]) -> None:
    with pytest.raises(ImproperlyConfigured, match="PORTAL_PLAIN_HTTP"):
        unencrypted.check(address, hosts, allowed=False)
    unencrypted.check(address, hosts, allowed=True)  # somebody said so


def test_with_https_or_here_it_does() -> None:
    unencrypted.check("http://localhost:8010", HERE, allowed=False)
    unencrypted.check("https://portal.example", ("portal.example",), allowed=False)


def test_a_cookie_over_https_is_the_hosts_own() -> None:
    """RFC 6265bis, 4.1.3.2: the prefix, with Secure, Path=/ and no Domain; test_nginx.py sees it sent."""
    assert cookies.name("session", secure=True) == "__Host-portal_session"
    assert cookies.name("session", secure=False) == "portal_session"
