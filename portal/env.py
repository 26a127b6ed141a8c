"""Settings from the environment. A wrong value stops the start with a sentence that names it."""

from __future__ import annotations

import os
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE = {"1", "true", "yes", "on"}
FALSE = {"0", "false", "no", "off", ""}


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, default)


def flag(name: str, default: bool) -> bool:
    raw = os.environ.get(name)
    if raw is None:
        return default
    if raw.lower() in TRUE:
        return True
    if raw.lower() in FALSE:
        return False
    raise ImproperlyConfigured(f"{name} is {raw!r}; use one of yes, no, true, false, on, off, 1, 0.")


def whole(name: str, default: int, *, least: int = 0) -> int:
    raw = os.environ.get(name)
    if raw is None:
        return default
    try:
        value = int(raw.replace("_", ""))
    except ValueError:
        raise ImproperlyConfigured(f"{name} is {raw!r}; use a whole number.") from None
    if value < least:
        raise ImproperlyConfigured(f"{name} is {value}; the least allowed is {least}.")
    return value


def names(name: str, default: str = "") -> list[str]:
    """A list separated by commas."""
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]


def folder(name: str, default: Path) -> Path:
    raw = os.environ.get(name)
    return Path(raw).expanduser().resolve() if raw else default


def one_of(name: str, default: str, allowed: tuple[str, ...]) -> str:
    value = os.environ.get(name, default)
    if value not in allowed:
        raise ImproperlyConfigured(f"{name} is {value!r}; use one of {', '.join(allowed)}.")
    return value
