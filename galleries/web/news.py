"""What a page that stays open asks every other second."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse

from galleries.models import Sitting


def news(request: HttpRequest, sitting: Sitting, tell: Callable[[], dict[str, Any]]) -> HttpResponse:
    """204 while nothing of the sitting changed since `?since=`, else what `tell` says."""
    if request.GET.get("since") == str(sitting.change):
        return HttpResponse(status=204)
    return JsonResponse(tell())
