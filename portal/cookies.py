"""Names of the site's cookies."""

from __future__ import annotations


def name(what: str, *, secure: bool) -> str:
    """With https a browser takes a cookie of such a name from this very host only, for all of its paths, and never over
    plain http (RFC 6265bis, 4.1.3.2: `__Host-`)."""
    return f"{'__Host-' if secure else ''}portal_{what}"
