"""The photographer's desk: all frames of a sitting on one page, and the acts on them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import Frame, Look, Sitting
from galleries.steps.ingesting import reading_anew
from galleries.steps.sorting import boundaries, looks, loupe, take_back
from galleries.web.compressed import compressed_page
from galleries.web.doors import studio_page
from galleries.web.files import FOREVER
from galleries.web.news import news
from galleries.web.range_words import may_err, orders
from galleries.web.studio import desk_data
from galleries.web.studio.forms import whole
from galleries.web.studio.sittings import look_of
from galleries.web.studio.upload import body_json

Body = dict[str, Any]


@studio_page()
@require_safe
def desk(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    context = {
        "sitting": sitting,
        "page": "studio-desk",
        "filters": desk_data.filters(),
        "flags": desk_data.filters()[:4],
        "flag_words": desk_data.flag_words(),
        "orders": orders(),
        "may_err": may_err(),
    }
    return render(request, "galleries/studio/desk.html", context)


# Ten thousand frames are five megabytes of much the same. There is no secret in it that a length could tell of, and
# compression adds noise to the length besides (BREACH, breachattack.com).
@compressed_page
@studio_page()
@require_safe
def data(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Everything, or 204 when nothing changed since `?since=`."""
    response = news(request, sitting, lambda: desk_data.everything(sitting))
    response.headers["Cache-Control"] = "private, no-store"
    return response


@studio_page()
@require_POST
def act(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """{do: name, …} → the state after it."""
    body = body_json(request)
    do = ACTS.get(str(body.get("do")))
    if do is None:
        raise BadInput(_("There is no act “%s” at the desk.") % body.get("do"))
    do(sitting, visitor, body)
    return JsonResponse(desk_data.state(sitting))


@studio_page()
@require_safe
def eyes(request: HttpRequest, visitor: Visitor, sitting: Sitting, frame_id: int) -> HttpResponseBase:
    """The eyes of a frame at 100 %; 202 (accepted, RFC 9110) with a smaller picture while they are being developed.
    Asked for the head alone it draws nothing, and says with 422 that they cannot be."""
    frame = sitting.frames.select_related("sitting").filter(pk=frame_id).first()
    if frame is None:
        raise Missing(_("There is no such frame in this sitting."))
    pixels, asked = loupe.pixels(frame), request.method == "HEAD"
    status = {loupe.Pixels.COMING: 202, loupe.Pixels.FAILED: 422 if asked else 200}.get(pixels, 200)
    response = HttpResponse(b"" if asked else loupe.eyes(frame), content_type="image/jpeg", status=status)
    response.headers["Cache-Control"] = FOREVER if pixels == loupe.Pixels.SHARP else "private, no-store"
    return response


# --- acts: each reads its own fields and calls one verb ------------------------------------------------------


def _frames(body: Body) -> list[int]:
    ids = body.get("frames")
    if not isinstance(ids, list) or not ids:
        raise BadInput(_("Choose frames first."))
    return [whole(pk, _("frame")) for pk in ids]


def _frame(sitting: Sitting, body: Body) -> Frame:
    (frame,) = looks.frames_of(sitting, [whole(body.get("frame"), _("frame"))])
    return frame


def _look(sitting: Sitting, body: Body, name: str = "look") -> Look:
    return look_of(sitting, whole(body.get(name), _("look")))


def _move(sitting: Sitting, by: Visitor, body: Body) -> None:
    ids = _frames(body)
    if body.get("look") == "new":
        looks.frames_of(sitting, ids)
        title = str(body.get("title", "")) or _("Look %d") % (sitting.looks.count() + 1)
        looks.move_frames(sitting, ids, looks.new_look(sitting, title, by), by)
    else:
        looks.move_frames(sitting, ids, None if body.get("look") is None else _look(sitting, body), by)


def _hide(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.set_hidden(sitting, _frames(body), bool(body.get("hidden")), by)


def _suggest(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.set_suggested(sitting, _frames(body), bool(body.get("suggested")), by)


def _undo(sitting: Sitting, by: Visitor, body: Body) -> None:
    take_back.undo(sitting, by)


def _split(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.split(_frame(sitting, body), str(body.get("title", "")), by)


def _merge(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.merge(_look(sitting, body), _look(sitting, body, "into"), by)


def _rename(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.edit_look(_look(sitting, body), by, title=str(body.get("title", "")).strip()[:80])


def _hide_look(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.edit_look(_look(sitting, body), by, hidden=bool(body.get("hidden")))


def _purpose(sitting: Sitting, by: Visitor, body: Body) -> None:
    if body.get("purpose") not in Look.Purpose.values:
        raise BadInput(_("A look is for casting or for the portfolio."))
    looks.edit_look(_look(sitting, body), by, purpose=body["purpose"])


def _order(sitting: Sitting, by: Visitor, body: Body) -> None:
    order = body.get("order")
    looks.reorder(sitting, [whole(pk, _("look")) for pk in order] if isinstance(order, list) else [], by)


def _accept(sitting: Sitting, by: Visitor, body: Body) -> None:
    looks.accept(_look(sitting, body), by)


def _start(sitting: Sitting, by: Visitor, body: Body) -> None:
    boundaries.move_start(_look(sitting, body), _frame(sitting, body), by)


def _join(sitting: Sitting, by: Visitor, body: Body) -> None:
    boundaries.take_away(_look(sitting, body), by)


def _read(sitting: Sitting, by: Visitor, body: Body) -> None:
    reading_anew.read_anew(sitting, by)


ACTS: dict[str, Callable[[Sitting, Visitor, Body], None]] = {
    "move": _move,
    "hide": _hide,
    "suggest": _suggest,
    "undo": _undo,
    "split": _split,
    "merge": _merge,
    "rename": _rename,
    "hide look": _hide_look,
    "purpose": _purpose,
    "order": _order,
    "accept": _accept,
    "start": _start,
    "join": _join,
    "read": _read,
}
