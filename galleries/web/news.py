"""What a page that stays open asks every other second."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import msgspec
from django.http import HttpRequest, HttpResponse

from galleries.models import Sitting


def news(request: HttpRequest, sitting: Sitting, tell: Callable[[], dict[str, Any]]) -> HttpResponse:
    """204 while nothing of the sitting changed since `?since=`, else what `tell` says."""
    if request.GET.get("since") == str(sitting.change):
        return HttpResponse(status=204)
    # By an encoder that takes a tenth of the time of `JsonResponse`; sentences may wait for their language.
    return HttpResponse(msgspec.json.encode(tell(), enc_hook=str), content_type="application/json")
