"""What every template may use."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from galleries.models import Studio


def visitor(request: HttpRequest) -> dict[str, Any]:
    return {"studio": Studio.current()}
