"""The script that opens the sheet again without a network; served from the root, so that it may serve pages."""

from __future__ import annotations

from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.web.doors import open_to_all


@open_to_all("a script without secrets")
@require_safe
def outbox_worker(request: HttpRequest) -> HttpResponseBase:
    script = finders.find("galleries/js/invitee/outbox-worker.js")
    assert isinstance(script, str), "the script is part of the product"  # noqa: S101  # nosec B101
    response = HttpResponse(Path(script).read_bytes(), content_type="text/javascript; charset=utf-8")
    response.headers["Cache-Control"] = "no-cache"
    response.headers["Service-Worker-Allowed"] = "/s/"
    return response
