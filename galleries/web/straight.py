"""The straight way: what open pages ask for by the hundred, the small pictures of a sheet and whether there is news, is
answered from one question to the database, before the session is read, an address looked up or a page thought of.
What is said of a frame that is opened takes a few more, and marks and the studio's frames come the same way as far as
their verb.

It only ever says yes. Whatever it is not sure of goes the whole way, which says no in words. What it is sure of rests
on the same rules: `access.may` and the frames of `access.frames_of_sheets`, asked of the rows as they are now, and for
marks Django's own check of a form's token.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from django.contrib.sessions.models import Session
from django.db import DatabaseError, InterfaceError, connection
from django.db.models import Exists, OuterRef, QuerySet, TextField
from django.db.models.functions import Cast, Now
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.utils import translation

from galleries import storage
from galleries.access import Act, Visitor, frames_of_sheets, may
from galleries.errors import DomainError
from galleries.models import Frame, Invite, Proof, Sitting
from galleries.models.compiled import Compiled, partial
from galleries.web import passes, straight_studio, straight_upload
from galleries.web.doors import still_in
from galleries.web.errors import UNSTORABLE
from galleries.web.files import FOREVER, send
from galleries.web.invitee import marks_of_all, outbox, sheet, talk
from galleries.web.news import news as news_of

PICTURE = straight_studio.SMALL
MARKS = re.compile(r"/s/([-a-zA-Z0-9_]{1,60})/marks")
MOST_BYTES = 20_000  # of marks: a press or a few; an outbox of hundreds is no hurry
NEWS = re.compile(r"/s/([-a-zA-Z0-9_]{1,60})/changes")
FRAME = re.compile(r"/s/([-a-zA-Z0-9_]{1,60})/frame/([0-9]{1,18})")
OF_SITTING = ("pk", "stage", "subject_is_minor", "guardian_name", "guardian_consent_on", "is_holding", "change")
OF_INVITE = ("pk", "role", "expires_at", "revoked_at", "shut_before", "passed_from_id")
OF_FIRST = ("expires_at", "revoked_at", "passed_from_id")  # of the invite that it was passed on from


def _columns(to_sitting: str) -> list[str]:
    """Of the sitting that a relation leads to (how it begins), of its invite, and of the one before that."""
    return [
        *(f"{to_sitting}{name}" for name in OF_SITTING),
        *(f"{to_sitting}invites__{name}" for name in OF_INVITE),
        *(f"{to_sitting}invites__passed_from__{name}" for name in OF_FIRST),
    ]


def _stands(key: str) -> Exists:
    return Exists(Session.objects.filter(session_key=key, expire_date__gt=Now()))


def _picture(key: str, frame: int, proof: int, *invites: int) -> QuerySet[Any, Any]:
    shown = [Exists(frames_of_sheets(is_subject).filter(pk=OuterRef("frame_id"))) for is_subject in (False, True)]
    rows = Proof.objects.filter(_stands(key), pk=proof, frame=frame, frame__sitting__invites__in=invites)
    rows = rows.annotate(to_others=shown[0], to_subject=shown[1]).order_by()
    return rows.values_list(*_columns("frame__sitting__"), "small_key", "to_others", "to_subject")


def _news(key: str, slug: str, *invites: int) -> QuerySet[Any, Any]:
    rows = Sitting.objects.filter(_stands(key), slug=slug, invites__in=invites).order_by()
    return rows.values_list(*_columns(""), "allowance", "uid")


def _marking(key: str, slug: str, *invites: int) -> QuerySet[Any, Any]:
    rows = Sitting.objects.filter(_stands(key), slug=slug, invites__in=invites).order_by()
    return rows.values_list(*_columns(""), "invites__name")


def _opened(key: str, slug: str, frame: int, *invites: int) -> QuerySet[Any, Any]:
    shown = [Exists(frames_of_sheets(is_subject).filter(pk=OuterRef("pk"))) for is_subject in (False, True)]
    rows = Frame.objects.filter(_stands(key), sitting__slug=slug, pk=frame, sitting__invites__in=invites)
    rows = rows.annotate(to_others=shown[0], to_subject=shown[1], text=Cast("reading", TextField())).order_by()
    return rows.values_list(*_columns("sitting__"), "text", "width", "height", "to_others", "to_subject")


ask_opened, ask_picture = Compiled(_opened, by_keys=True), Compiled(_picture, by_keys=True)
ask_news, ask_marking = Compiled(_news, by_keys=True), Compiled(_marking, by_keys=True)
_sitting, _invite, _first = partial(Sitting, *OF_SITTING), partial(Invite, *OF_INVITE), partial(Invite, "pk", *OF_FIRST)


def _read(row: Sequence[Any]) -> tuple[Sitting, Invite]:
    """Of the columns above: as much of the rows as `may` asks of a sitting for looking."""
    sitting = _sitting(row)
    rest = row[len(OF_SITTING) :]
    invite = _invite(rest)
    invite.sitting_id = sitting.pk
    if invite.passed_from_id is not None:
        invite.passed_from = _first((invite.passed_from_id, *rest[len(OF_INVITE) :]))
    return sitting, invite


def _lets_in(invite: Invite, invites: passes.Held) -> bool:
    first = invite.passed_from
    if first is not None and first.passed_from_id is not None:
        return False  # passed on twice: the whole way knows how to ask
    return still_in(invite, dict(invites)[invite.pk])


class StraightWay:
    """Middleware, before that of the sessions: answers what it can, and hands out the pass that it goes by."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = straight(request)
        if response is None:
            # The question that was to find out a broken connection may not have been asked.
            connection.health_check_done = False  # type: ignore[attr-defined]
            response = self.get_response(request)
            passes.hand_out(request, response)
        return response


def straight(request: HttpRequest) -> HttpResponseBase | None:
    """The answer, when this is a question of the kind and the answer is yes."""
    looks, path = request.method in {"GET", "HEAD"}, request.path_info
    picture, news = (PICTURE.fullmatch(path), NEWS.fullmatch(path)) if looks else (None, None)
    opened = FRAME.fullmatch(path) if looks else None
    marks = MARKS.fullmatch(path) if request.method == "POST" and _is_small_json(request) else None
    view = straight_studio.VIEW.fullmatch(path) if looks else None
    file = straight_upload.FILE.fullmatch(path) if request.method == "PUT" else None
    if file is not None:
        return _sent_in(request, file[1])
    if picture is None and news is None and opened is None and marks is None and view is None:
        return None
    key, invites = passes.held(request)
    if not invites and picture is None and view is None:
        return None
    _trust_connection()
    try:
        if not invites or view is not None:
            return straight_studio.picture(request)
        if picture is not None:
            return _small(request, key, int(picture[1]), int(picture[2]), invites)
        if marks is not None:
            return _marked(request, key, marks[1], invites)
        if opened is not None:
            return _talk(request, key, opened[1], int(opened[2]), invites)
        return _news_of(request, key, news[1], invites) if news is not None else None
    except (DatabaseError, InterfaceError):
        _drop_connection()
        return None


def _trust_connection() -> None:
    """One that broke since the last request is found out by the question itself: the whole way opens another."""
    connection.health_check_done = connection.connection is not None  # type: ignore[attr-defined]


def _drop_connection() -> None:
    if not connection.in_atomic_block:
        connection.close()


def _sent_in(request: HttpRequest, slug: str) -> HttpResponseBase | None:
    claim = straight_upload.claim_of(request)
    if claim is None:
        return None
    _trust_connection()
    try:
        user = straight_upload.sender(*claim)
    except (DatabaseError, InterfaceError):
        _drop_connection()
        return None
    return None if user is None else _headed(straight_upload.answer(request, slug, user))


def _small(request: HttpRequest, key: str, frame: int, proof: int, invites: passes.Held) -> HttpResponseBase | None:
    rows = ask_picture(key, frame, proof, *(pk for pk, _came in invites))
    if len(rows) != 1:
        return None
    sitting, invite = _read(rows[0])
    small_key, to_others, to_subject = rows[0][-3:]
    shown = to_subject if invite.is_subject else to_others
    if not (shown and _lets_in(invite, invites) and may(Visitor(invite=invite), Act.SEE_FRAME, sitting)):
        return None
    etag = f"{proof}-small"
    response = send(request, storage.proofs(), small_key, content_type="image/jpeg", etag=etag, cache=FOREVER)
    response.headers["X-Frame-Options"] = "DENY"
    return response


def _news_of(request: HttpRequest, key: str, slug: str, invites: passes.Held) -> HttpResponseBase | None:
    rows = ask_news(key, slug, *(pk for pk, _came in invites))
    if len(rows) != 1:
        return None
    sitting, invite = _read(rows[0])
    if not (_lets_in(invite, invites) and may(Visitor(invite=invite), Act.SEE_SHEET, sitting)):
        return None
    sitting.allowance, sitting.uid = rows[0][-2:]
    visitor = Visitor(invite=invite)
    with translation.override(translation.get_language_from_request(request)):
        response = news_of(request, sitting, lambda: marks_of_all.news(visitor, sitting, request.GET.get("since", "")))
    return _headed(response)


def _headed(response: HttpResponseBase) -> HttpResponseBase:
    """What the middleware passed by would have put on it."""
    response.headers["X-Frame-Options"] = "DENY"
    if isinstance(response, HttpResponse) and response.status_code != 204:
        response.headers["Content-Length"] = str(len(response.content))
    return response


def _talk(request: HttpRequest, key: str, slug: str, frame: int, invites: passes.Held) -> HttpResponseBase | None:
    rows = ask_opened(key, slug, frame, *(pk for pk, _came in invites))
    if len(rows) != 1:
        return None
    sitting, invite = _read(rows[0])
    reading, width, height, to_others, to_subject = rows[0][-5:]
    shown, visitor = to_subject if invite.is_subject else to_others, Visitor(invite=invite)
    if not (shown and _lets_in(invite, invites) and may(visitor, Act.SEE_FRAME, sitting)):
        return None
    with translation.override(translation.get_language_from_request(request)):
        response = JsonResponse(talk.of_frame(visitor, sitting, frame, reading or "", (width, height)))
    return _headed(response)


def _is_small_json(request: HttpRequest) -> bool:
    length = request.META.get("CONTENT_LENGTH") or ""
    return request.content_type == "application/json" and length.isdecimal() and int(length) <= MOST_BYTES


def _marked(request: HttpRequest, key: str, slug: str, invites: passes.Held) -> HttpResponseBase | None:
    """Marks of a form whose token is right, of somebody who sees the sheet; whether they may mark, the verb asks."""
    if not passes.bears_token(request, sheet.marks):
        return None
    rows = ask_marking(key, slug, *(pk for pk, _came in invites))
    if len(rows) != 1:
        return None
    sitting, invite = _read(rows[0])
    invite.name = rows[0][-1]
    if not (_lets_in(invite, invites) and may(Visitor(invite=invite), Act.SEE_SHEET, sitting)):
        return None
    try:
        with translation.override(translation.get_language_from_request(request)):
            response = outbox.answer(Visitor(invite=invite), sitting, outbox.read(request.body))
    except (DomainError, *UNSTORABLE):
        return None  # nothing of it was stored: the whole way says why
    return _headed(response)
