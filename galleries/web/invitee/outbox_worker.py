"""The scripts that answer on a device without a network; served from the root, so that they may serve pages."""

from __future__ import annotations

from pathlib import Path

from django.contrib.staticfiles import finders
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.web.doors import open_to_all


@open_to_all("a script without secrets")
@require_safe
def outbox_worker(request: HttpRequest) -> HttpResponseBase:
    """Sheet and plan as last seen, and words in place of a sitting's other pages."""
    response = _script("outbox-worker.js")
    response.headers["Service-Worker-Allowed"] = "/s/"
    return response


@open_to_all("a script without secrets")
@require_safe
def words_worker(request: HttpRequest) -> HttpResponseBase:
    """Words alone, in place of the pages before a sitting; which those are, the page that registers it says."""
    return _script("words-worker.js")


def _script(name: str) -> HttpResponse:
    script = finders.find(f"galleries/js/invitee/{name}")
    assert isinstance(script, str), "the script is part of the product"  # noqa: S101  # nosec B101
    response = HttpResponse(Path(script).read_bytes(), content_type="text/javascript; charset=utf-8")
    response.headers["Cache-Control"] = "no-cache"
    return response
