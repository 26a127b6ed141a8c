"""Files from the browser by parts, straight to the bucket: what is there, who may send a part, when they are whole.

The same for frames, for retouches of the studio, and for a retoucher's: each has addresses and a door of its own.
"""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Arrival, Sitting
from galleries.steps import arrivals
from galleries.web.doors import studio_page
from galleries.web.studio.upload import DIGEST, body_json

MOST_ASKED = 200
PARTS_METHODS = ["GET", "HEAD", "POST"]


@studio_page()
@require_http_methods(PARTS_METHODS)
def parts(request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str) -> HttpResponseBase:
    return answer_parts(request, visitor, sitting, kind)


@studio_page()
@require_POST
def part(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str, file: int, number: int
) -> HttpResponseBase:
    return answer_part(request, visitor, sitting, kind, file, number)


@studio_page()
@require_POST
def join(request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str, file: int) -> HttpResponseBase:
    return answer_join(visitor, sitting, kind, file)


def reason(arrival: Arrival) -> str:
    return arrival.why


def answer_parts(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str, why: Callable[[Arrival], str] = reason
) -> HttpResponseBase:
    """POST {name, sha256, bytes} → {file, part_bytes, there: [numbers]}, or {} where the store takes no parts: the file
    is sent whole then. GET ?of=1,2,3 → {files: {number: {state, reason}}}, the reason by `why`.

    Raises:
        BadInput: the question is none.
    """
    if request.method != "POST":
        asked = [one for one in request.GET.get("of", "").split(",") if one]
        if len(asked) > MOST_ASKED or not all(one.isascii() and one.isdigit() and len(one) < 16 for one in asked):
            raise BadInput(_("There is no such file on its way in. Send it again."))
        files = arrivals.states(sitting, kind, map(int, asked), visitor)
        return JsonResponse({"files": {one.pk: {"state": one.state, "reason": why(one)} for one in files}})
    body = body_json(request)
    name, sha256, size = body.get("name"), body.get("sha256"), body.get("bytes")
    if not isinstance(name, str) or not name:
        raise BadInput(_("The file has no name."))
    if not isinstance(sha256, str) or not DIGEST.match(sha256):
        raise BadInput(_("A checksum has 64 hexadecimal digits."))
    if not isinstance(size, int) or isinstance(size, bool):
        raise BadInput(_("The file is empty, or its length was not announced."))
    begun = arrivals.begin(sitting, kind, name, sha256, size, visitor)
    if begun is None:
        return JsonResponse({})
    arrival, there = begun
    return JsonResponse({"file": arrival.pk, "part_bytes": arrivals.PART, "there": there})


def answer_part(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str, file: int, number: int
) -> HttpResponseBase:
    """The proxy asks for a part that somebody sends it: 204 with the store's address of it in a header that goes no
    further than the proxy (`deploy/grown/store.conf`), or no."""
    length = request.headers.get("X-Part-Bytes", "")
    size = int(length) if length.isascii() and length.isdigit() and len(length) < 16 else 0
    address = arrivals.part(sitting, kind, file, number, size, visitor)
    return HttpResponse(status=204, headers={"X-Store-Part": address, "Cache-Control": "no-store"})


def answer_join(visitor: Visitor, sitting: Sitting, kind: str, file: int) -> HttpResponseBase:
    """All parts are there: 202, and what becomes of the file is told by `answer_parts`."""
    arrival = arrivals.join(sitting, kind, file, visitor)
    return JsonResponse({"file": arrival.pk, "state": arrival.state}, status=202)
