"""Bytes leave here, after the full permission check, or not at all."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import partial
from urllib.parse import quote

from django.conf import settings
from django.core.files.storage import Storage
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from galleries import access, storage
from galleries.access import Act, Visitor
from galleries.errors import Missing
from galleries.models import Frame, Sitting, Verb
from galleries.steps import derived
from galleries.steps.ingesting import proof
from galleries.steps.keeping import downloads, trace
from galleries.web.doors import either, guarded_inside

CHUNK = 1 << 18
FOREVER = "private, max-age=31536000, immutable"
RANGE = re.compile(r"^bytes=([0-9]{0,18})-([0-9]{0,18})$")


def send(
    request: HttpRequest,
    store: Storage,
    key: str,
    *,
    content_type: str,
    name: str = "",
    etag: str = "",
    cache: str = "private, no-store",
) -> HttpResponseBase:
    """A stored file: by internal redirect where a proxy sends the files, else streamed, ranges honoured.

    `name` makes it a download. A wrong or unsatisfiable range is answered as RFC 9110 says (200 or 416).
    """
    if etag and request.headers.get("If-None-Match") == f'"{etag}"':
        return _headers(HttpResponse(status=304), "", etag, cache)
    if settings.INTERNAL_REDIRECT:
        response: HttpResponseBase = HttpResponse(content_type=content_type)
        _inside(request, response, store, key, etag)
        return _headers(response, name, etag, cache)
    try:
        size = store.size(key)
    except FileNotFoundError:
        raise Missing(_("The file is not in the store. Tell the studio.")) from None
    # In pieces as they come from the store: a file of any size costs this process one piece.
    pieces = partial(store.pieces, key, size=CHUNK)  # type: ignore[attr-defined]  # both of ours have it
    return stream(request, size, pieces, content_type=content_type, name=name, etag=etag, cache=cache)


def _inside(request: HttpRequest, response: HttpResponseBase, store: Storage, key: str, etag: str) -> None:
    """Tells the proxy, and nobody else, where the file lies: in a folder, or at an address of the bucket that is signed
    for this file and method and holds for minutes. Of a bucket it asks for the part that is named here."""
    if settings.FILES == "folder":
        response.headers["X-Accel-Redirect"] = (
            f"/internal/{'proofs' if store == storage.proofs() else 'private'}/{quote(key)}"
        )
        return
    signed = store.signed(key, request.method)  # type: ignore[attr-defined]  # a bucket's
    response.headers["X-Accel-Redirect"] = f"/internal/bucket{signed}"
    if _condition_holds(request, etag):
        response.headers["X-Store-Range"] = request.headers.get("Range", "")


def stream(
    request: HttpRequest,
    size: int,
    pieces: Callable[[int, int], Iterator[bytes]],
    *,
    content_type: str,
    name: str,
    etag: str,
    cache: str = "private, no-store",
) -> HttpResponseBase:
    """Bytes that `pieces(first, stop)` gives, `size` of them in all, ranges honoured."""
    span = _range(request, size, holds=_condition_holds(request, etag))
    if span == (0, 0):
        response: HttpResponseBase = HttpResponse(status=416)
        response.headers["Content-Range"] = f"bytes */{size}"
        return _headers(response, name, etag, cache)
    start, stop = span or (0, size)
    # Asked for by HEAD, nothing is read.
    content = pieces(start, stop) if request.method == "GET" else iter(())
    response = StreamingHttpResponse(content, status=200 if span is None else 206, content_type=content_type)
    response.headers["Content-Length"] = str(stop - start)
    if span is not None:
        response.headers["Content-Range"] = f"bytes {start}-{stop - 1}/{size}"
    return _headers(response, name, etag, cache)


def goes_out(request: HttpRequest, response: HttpResponseBase) -> str:
    """What of the file `send` hands over: 'whole', a 'range' of it, or '' (a HEAD, a 304, a range that it has not)."""
    if request.method != "GET" or response.status_code not in {200, 206}:
        return ""
    # Where the proxy sends the bytes it reads the range itself.
    by_proxy = not response.streaming and "Range" in request.headers
    return "range" if by_proxy or response.status_code == 206 else "whole"


def noted(
    request: HttpRequest,
    response: HttpResponseBase,
    visitor: Visitor,
    sitting: Sitting,
    verb: Verb,
    name: str,
    sha256: str,
) -> HttpResponseBase:
    """The answer of `send` to somebody of the studio, the file that goes out with it noted in the journal."""
    if out := goes_out(request, response):
        downloads.note(sitting, visitor, verb, name, sha256, ranged=out == "range")
    return response


def counted(
    request: HttpRequest, response: HttpResponseBase, size: int, etag: str, note: Callable[[int, bool], None]
) -> HttpResponseBase:
    """The answer of `send` or `stream`, with how far it went told to `note(last byte, whether the fetch begins here)`:
    the bytes that left, not those asked for."""
    if request.method != "GET" or response.status_code not in {200, 206}:
        return response
    # Where the proxy sends the bytes it reads the range itself, so it is read here for the receipt only. From a folder
    # it sends under a tag of its own (time and size), by which a browser goes on; what lies under a key never changes.
    by_proxy = not response.streaming
    holds = (by_proxy and settings.FILES == "folder") or _condition_holds(request, etag)
    span = _range(request, size, holds=holds) if response.status_code == 206 or by_proxy else None
    if span == (0, 0):
        return response
    first, stop = span or (0, size)
    note(0, first == 0)
    if by_proxy:  # the proxy sends the bytes; what it was told to send is all that is known
        note(stop - 1, False)
        return response
    inner = response.streaming_content  # type: ignore[attr-defined]

    def passing() -> Iterator[bytes]:
        at = first
        try:
            for chunk in inner:
                yield chunk
                at += len(chunk)
        finally:
            note(max(0, at - 1), False)

    response.streaming_content = passing()  # type: ignore[attr-defined]
    return response


def _headers(response: HttpResponseBase, name: str, etag: str, cache: str) -> HttpResponseBase:
    response.headers["Cache-Control"] = cache
    response.headers["Accept-Ranges"] = "bytes"
    response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    if etag:
        response.headers["ETag"] = f'"{etag}"'
    if name:
        response.headers["Content-Disposition"] = content_disposition_header(True, name) or "attachment"
    return response


def _range(request: HttpRequest, size: int, *, holds: bool) -> tuple[int, int] | None:
    """(first, last + 1), None for the whole, (0, 0) for one that cannot be satisfied. `holds`: does If-Range?"""
    span = RANGE.match(request.headers.get("Range", ""))
    if span is None or not holds:
        return None
    first, last = span.groups()
    if not first and not last:
        return None
    if not first:
        start, stop = max(0, size - int(last)), size
    else:
        start, stop = int(first), min(int(last) + 1, size) if last else size
    return (start, stop) if start < stop <= size else (0, 0)


def _condition_holds(request: HttpRequest, etag: str) -> bool:
    """Is what the visitor has a part of still this file (RFC 9110, 13.1.5)?"""
    return request.headers.get("If-Range", f'"{etag}"') == f'"{etag}"'


def _shown(request: HttpRequest, act: Act, frame_id: int) -> tuple[Visitor, Frame]:
    """Who asks, by the door of the frame's own sitting, and the frame when they may do this with it.

    Raises:
        Missing: there is none, or none for them.
    """
    sitting_id = Frame.objects.filter(pk=frame_id).values_list("sitting_id", flat=True).first()
    visitor = either(request, sitting_id) if sitting_id is not None else Visitor()
    return visitor, access.frame_for(visitor, act, frame_id)


@guarded_inside
@require_safe
def proof_picture(request: HttpRequest, frame_id: int, kind: str, version: int) -> HttpResponseBase:
    """A stamped proof: /files/proof/<frame>/<large|middle|small>/<row>.jpg; the row in it makes it immutable."""
    visitor, frame = _shown(request, Act.SEE_FRAME, frame_id)
    stamped = frame.proofs.filter(pk=version).first()
    if stamped is None or kind not in {"small", "middle", "large"} or (kind == "middle" and not stamped.middle_key):
        raise Missing(_("There is no such proof."))
    if kind == "small":
        key, served_to = stamped.small_key, ""
    elif visitor.invite is not None:  # the copy that carries this invite's mark, and nobody else's
        copy = trace.traced_copy(stamped, visitor.invite, middle=kind == "middle")
        key, served_to = copy, f"-{visitor.invite.pk}"
    else:
        key, served_to = stamped.middle_key if kind == "middle" else stamped.large_key, ""
    etag = f"{stamped.pk}-{kind}{served_to}"
    return send(request, storage.proofs(), key, content_type="image/jpeg", etag=etag, cache=FOREVER)


@guarded_inside
@require_safe
def view_picture(request: HttpRequest, frame_id: int) -> HttpResponseBase:
    """The photographer's own unstamped rendition, for the loupe; `?of=desk`: as small as the desk draws it."""
    _visitor, frame = _shown(request, Act.SEE_ORIGINAL, frame_id)
    side = derived.DESK_SIDE if request.GET.get("of") == "desk" else derived.VIEW_SIDE
    etag = f"{frame.sha256}-view{side}"
    return send(request, *proof.view(frame, side), content_type="image/jpeg", etag=etag, cache=FOREVER)


@guarded_inside
@require_safe
def original(request: HttpRequest, frame_id: int) -> HttpResponseBase:
    """The bytes as they came, for the photographer only."""
    visitor, frame = _shown(request, Act.SEE_ORIGINAL, frame_id)
    response = send(
        request,
        storage.private(),
        frame.key,
        content_type="application/octet-stream",
        name=frame.name,
        etag=frame.sha256,
    )
    return noted(request, response, visitor, frame.sitting, Verb.ORIGINAL_FETCHED, frame.name, frame.sha256)
