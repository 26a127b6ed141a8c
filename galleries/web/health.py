"""Is the site alive (`/health/live`), and can it do its work (`/health/ready`)?

A supervisor that restarts processes asks the first, which touches nothing; a monitor asks the second.
"""

from __future__ import annotations

import shutil
from functools import partial
from pathlib import Path

from django.conf import settings
from django.core.cache import cache
from django.core.files.storage import storages
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.http import require_safe

from galleries.probing import Probe, answers
from galleries.steps import jobs

SECONDS = 2.0  # for all that lies outside, together


@require_safe
def live(request: HttpRequest) -> HttpResponse:
    return HttpResponse("alive\n", content_type="text/plain")


@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """200 when all is well, else 503 naming what is not. Tells nothing else.

    database: it answers and has its tables. queue, private, proofs: they answer within `SECONDS`. disk: each disk the
    site writes on has PORTAL_DISK_SPARE bytes free. work: what waits is being done.
    """
    outside = answers(PROBES, SECONDS)
    try:
        work, database = not jobs.silent(settings.WORK_LATE_SECONDS), True
    except DatabaseError:
        work = database = False
    well = {"database": database, **outside, "work": work}
    return JsonResponse(well, status=200 if all(well.values()) else 503)


def _queue() -> bool:
    cache.set("health", 1, 5)
    return bool(cache.get("health") == 1)


def _store(name: str) -> bool:
    storages[name].exists("health")
    return True


def _disk() -> bool:
    folders = [settings.SITE_DIR, settings.INCOMING_DIR, *settings.FILES_FOLDERS]
    return all(shutil.disk_usage(_standing(folder)).free >= settings.DISK_SPARE for folder in folders)


def _standing(folder: Path) -> Path:
    """The folder, or the nearest one above that is there: it is made with the first file."""
    return next(one for one in (folder, *folder.parents) if one.is_dir())


PROBES = {
    "queue": Probe("queue", _queue),
    "private": Probe("private", partial(_store, "private")),
    "proofs": Probe("proofs", partial(_store, "proofs")),
    "disk": Probe("disk", _disk),
}
