"""Frames from the browser: which are there already, one file per request, what was refused."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeVar
from urllib.parse import unquote

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.http.request import RawPostDataException, UnreadablePostError
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import plain_json
from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Sitting
from galleries.steps import arrivals
from galleries.steps.ingesting import incoming, ingest
from galleries.web.doors import studio_page

DIGEST = re.compile(r"^[0-9a-f]{64}$")
MOST_DIGESTS = 2000
PICTURES: tuple[str, ...] = ("image/jpeg", "image/tiff", "image/png", "image/heic", "image/heif")
PICTURES += (".jpg", ".jpeg", ".tif", ".tiff", ".png", ".heic", ".heif")


def body_json(request: HttpRequest) -> dict[str, Any]:
    """The request's body as a JSON object.

    Raises:
        BadInput: it is none.
    """
    try:
        body = plain_json.loads(request.body)
    except (ValueError, RawPostDataException):  # the latter: a form, whose fields were read already
        body = None
    if not isinstance(body, dict):
        raise BadInput(_("The request carries no readable data."))
    return body


@studio_page()
@require_safe
def upload_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    incoming.sweep()
    context = {
        "sitting": sitting,
        "page": "studio-upload",
        "open": sitting.is_open_to_frames,
        "frame_count": sitting.frames.count(),
        "refusals": sitting.refusals.all(),
        "companions": " ".join(sorted(ingest.COMPANIONS)),
        "accept": ", ".join((*PICTURES, *sorted(ingest.RAW))),
        "after_others": " ".join(sorted(ingest.RAW)),
        "by_parts": arrivals.are_taken(),
        "most_bytes": settings.MAX_FRAME_BYTES,
        "retries": 6,
    }
    return render(request, "galleries/studio/upload.html", context)


@studio_page()
@require_POST
def known(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """{digests: [...], names: {digest: name}} → {known: [...]}: those that need not be sent.

    The names, where the browser tells them, are those on its card: a frame that came as a copy takes the camera's.
    """
    ingest.check_open(sitting)
    body = body_json(request)
    digests, names = body.get("digests"), body.get("names", {})
    if not isinstance(digests, list) or len(digests) > MOST_DIGESTS:
        raise BadInput(_("Name up to %d checksums at a time.") % MOST_DIGESTS)
    asked = [str(one).lower() for one in digests]
    if not all(DIGEST.match(one) for one in asked):
        raise BadInput(_("A checksum has 64 hexadecimal digits."))
    if not isinstance(names, dict) or not all(isinstance(one, str) for one in names.values()):
        raise BadInput(_("The names are not readable."))
    ingest.take_names(sitting, {digest: names[digest] for digest in asked if digest in names}, visitor)
    return JsonResponse({"known": sorted(ingest.known(sitting, asked))})


@studio_page()
@require_http_methods(["PUT"])
def put_file(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """One frame as the body."""
    ingest.check_open(sitting)
    came = whole_file(
        request, lambda arrived, name, digest: ingest.add_frame(sitting, arrived, name, visitor, digest=digest)
    )
    if isinstance(came, JsonResponse):
        return came
    _name, outcome = came
    frame = outcome.frame
    return JsonResponse(
        {
            "state": outcome.state,
            "name": outcome.name,
            "reason": outcome.reason,
            "frame": frame.pk if frame else None,
            "label": frame.label if frame else "",
            "stored_as": frame.name if frame else "",
        },
        status=201 if outcome.state == "new" else 200,
    )


Kept = TypeVar("Kept")


def whole_file(
    request: HttpRequest, keep: Callable[[incoming.Arrived, str, str], Kept]
) -> tuple[str, Kept] | JsonResponse:
    """One file as the body; its name (percent-encoded) and, when the browser could, its SHA-256 in headers.

    `keep` gets the file, its name and that digest ('' where it is not said). (The name, what `keep` returned), or the
    answer where the body did not come in whole.

    Raises:
        BadInput: the file has no name, or the digest is none.
    """
    name = unquote(request.headers.get("X-File-Name", ""))
    digest = request.headers.get("X-File-Sha256", "").lower()
    if not name:
        raise BadInput(_("The file has no name."))
    if digest and not DIGEST.match(digest):
        raise BadInput(_("A checksum has 64 hexadecimal digits."))
    try:
        with incoming.arriving(request.read, announced(request)) as arrived:
            return name, keep(arrived, name, digest)
    except incoming.TooMuch as error:
        return JsonResponse({"state": "refused", "name": name, "reason": str(error)}, status=413)
    except UnreadablePostError:
        return JsonResponse({"error": _("The connection was cut. Send the file again.")}, status=400)


def announced(request: HttpRequest) -> int:
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0


@studio_page()
@require_safe
def refusals(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """The refused files, and how many frames there are."""
    rows = [{"name": row.name, "reason": row.why} for row in sitting.refusals.all()[:500]]
    return JsonResponse({"refused": rows, "frames": sitting.frames.count()})


@studio_page()
@require_POST
def clear_refusals(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    ingest.clear_refusals(sitting)
    return redirect("studio-upload", slug=sitting.slug)
