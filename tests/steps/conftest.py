"""What the tests of several stations share."""

from __future__ import annotations

import pytest

from tests.steps.clock import Clock


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)
