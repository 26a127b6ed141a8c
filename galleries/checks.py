"""System checks: what a studio must not run with."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections

OWN = "galleries"


@register(OWN)
def addresses(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    messages: list[CheckMessage] = []
    if settings.DEBUG and settings.SECURE:
        messages.append(
            Error(
                "PORTAL_DEBUG is on at a public https address: pages would show their insides.",
                id="galleries.E001",
            )
        )
    if not settings.SECURE and not settings.BASE_URL.startswith(
        ("http://localhost", "http://127.0.0.1", "http://[::1]")
    ):
        messages.append(
            Warning(
                f"PORTAL_URL is {settings.BASE_URL}: without https links and portraits travel in the clear.",
                hint="Put the reverse proxy of deploy/ in front and set PORTAL_URL to its https address.",
                id="galleries.W001",
            )
        )
    return messages


@register(OWN)
def cage_of_decoders(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    from galleries.imaging.contained import cage  # what calls the kernel: no other command needs it loaded

    missing = cage.available().missing
    if not missing:
        return []
    return [
        Warning(
            f"Pictures of strangers are decoded with fewer walls round the decoder: {' and '.join(missing)} missing.",
            hint="Use a kernel with Landlock and seccomp, and install libseccomp2 (deploy/packages).",
            id="galleries.W002",
        )
    ]


@register(Tags.database)
def guard_of_the_journal(app_configs: Any, databases: Any = (), **kwargs: Any) -> list[CheckMessage]:
    """Asked by each `migrate`, and by `check --database default`. Nothing before there are tables."""
    from galleries.models import journal_guard

    messages: list[CheckMessage] = []
    for alias in databases or ():
        missing = journal_guard.missing_though_migrated(connections[alias])
        if missing:
            messages.append(
                Warning(
                    f"The database takes changes to the journal: {', '.join(missing)} missing.",
                    hint="Have manage.py shell call journal_guard.put_up(connection), of galleries.models.",
                    id="galleries.W003",
                )
            )
    return messages
