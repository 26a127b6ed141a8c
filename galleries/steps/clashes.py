"""Two who do the same at the same moment: the second breaks a unique constraint. Any other broken one is a fault."""

from __future__ import annotations

from django.db import IntegrityError


def at_once(error: IntegrityError) -> bool:
    """Whether a row like it was there already, by SQLite's extended result codes and PostgreSQL's unique_violation."""
    cause = error.__cause__
    named = getattr(cause, "sqlite_errorname", "")
    return named in {"SQLITE_CONSTRAINT_UNIQUE", "SQLITE_CONSTRAINT_PRIMARYKEY"} or (
        getattr(cause, "sqlstate", "") == "23505"
    )
