"""A clock that stands still, so that what ends at an edge is looked at on the edge and a moment beside it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

NOON = datetime(2027, 3, 10, 12, 0, tzinfo=UTC)
MOMENT = timedelta(microseconds=1)


class Clock:
    """The time everything asks for by `timezone.now`; the database's own clock (leases) goes on."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, at: datetime = NOON) -> None:
        self.at = at
        monkeypatch.setattr(timezone, "now", lambda: self.at)

    def passes(self, by: timedelta) -> None:
        self.at += by
