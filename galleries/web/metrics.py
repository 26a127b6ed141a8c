"""Numbers for the operator's monitor, in the OpenMetrics text format: `/metrics`, for whoever holds the token.

All are counted from the tables and disks when asked, so that every web process answers alike. No name of a person,
a sitting or a file is among them.
"""

from __future__ import annotations

import hmac
import shutil
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings
from django.db.models import Count, F, Min
from django.db.models.functions import Now
from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe
from prometheus_client import CollectorRegistry
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from galleries.errors import Missing
from galleries.models import Frame, Job, Letter, Sitting
from galleries.steps import jobs

OPEN = (Job.State.WAITING, Job.State.RUNNING, Job.State.FAILED)


@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Raises Missing without the token, or where the operator set none: nobody learns that there is such a page."""
    given = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if not settings.METRICS_TOKEN or not hmac.compare_digest(given.encode(), settings.METRICS_TOKEN.encode()):
        raise Missing(_("There is no page at this address."))
    registry = CollectorRegistry()
    registry.register(_Site())
    encode, content_type = choose_encoder(request.headers.get("Accept", ""))
    response = HttpResponse(encode(registry), content_type=content_type)
    response.headers["Cache-Control"] = "no-store"
    return response


class _Site(Collector):
    def collect(self) -> Iterator[Metric]:
        yield _gauge(
            "portal_work",
            "Pieces of work that wait, are in hand or failed, by kind.",
            ("kind", "state"),
            Job.objects.filter(state__in=OPEN).order_by().values_list("kind", "state").annotate(Count("pk")),
        )
        oldest = Job.objects.filter(jobs.due(), state=Job.State.WAITING)
        age = oldest.order_by().values("state").annotate(age=Now() - Min(F("created_at"))).values_list("age", flat=True)
        yield _gauge(
            "portal_work_oldest_seconds",
            "Age of the oldest piece of work that is due.",
            (),
            [(one.total_seconds(),) for one in age] or [(0.0,)],
        )
        bells = jobs.bells()
        if bells >= 0:
            yield _gauge("portal_queue_length", "Bells in the queue that no worker has heard.", (), [(bells,)])
        yield _gauge("portal_disk_free_bytes", "Free on the disk of each folder.", ("folder",), list(_free()))
        stages = Sitting.objects.order_by().values_list("stage").annotate(Count("pk"))
        yield _gauge("portal_sittings", "Sittings by stage.", ("stage",), stages)
        yield _gauge("portal_frames", "Frames in all sittings.", (), [(Frame.objects.count(),)])
        unsent = Letter.objects.unsent().count()
        yield _gauge("portal_letters_unsent", "Letters written and not sent yet.", (), [(unsent,)])


def _gauge(name: str, words: str, labels: tuple[str, ...], rows: object) -> GaugeMetricFamily:
    """`rows`: the values of the labels, then the number."""
    family = GaugeMetricFamily(name, words, labels=labels)
    for *values, number in rows:  # type: ignore[attr-defined]
        family.add_metric([str(value) for value in values], number)
    return family


def _free() -> Iterator[tuple[str, int]]:
    folders = {"site": settings.SITE_DIR, "incoming": settings.INCOMING_DIR}
    if settings.FILES_FOLDERS:
        folders["files"] = settings.FILES_FOLDERS[0]
    for name, folder in folders.items():
        if Path(folder).is_dir():
            yield name, shutil.disk_usage(folder).free
