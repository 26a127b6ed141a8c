"""What the tests of several stations share."""

from __future__ import annotations

from typing import Any

import pytest

from tests.steps.clock import Clock


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


@pytest.fixture
def quick_hash(settings: Any) -> None:
    """The real hash of passwords is slow on purpose."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
