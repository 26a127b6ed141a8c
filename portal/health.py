"""Is the site alive (`/health/live`), and can it do its work (`/health/ready`)?"""

from __future__ import annotations

from django.core.cache import cache
from django.core.files.storage import storages
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse


def live(request: HttpRequest) -> HttpResponse:
    return HttpResponse("alive\n", content_type="text/plain")


def ready(request: HttpRequest) -> JsonResponse:
    """200 when database, queue and both stores answer, else 503 naming what does not. Tells nothing else."""
    found: dict[str, bool] = {}
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        found["database"] = True
    except DatabaseError:
        found["database"] = False
    try:
        cache.set("health", 1, 5)
        found["queue"] = cache.get("health") == 1
    except Exception:  # noqa: BLE001 - whatever the client library raises, the answer is the same
        found["queue"] = False
    for name in ("private", "proofs"):
        try:
            storages[name].exists("health")
            found[name] = True
        except Exception:  # noqa: BLE001 - as above
            found[name] = False
    return JsonResponse(found, status=200 if all(found.values()) else 503)
