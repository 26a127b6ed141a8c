"""The straight way of somebody of the studio: the small pictures of their pages, from one question.

As for people invited (`galleries.web.straight`) it only says yes, of the rows as they are now: the session and its row
on the account's list are there, the account is active and has the password that the session was begun under, and runs
the frame's sitting. Whoever needs another right, or a picture that is still to be made, goes the whole way.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.db.models.functions import Now
from django.http import HttpRequest, HttpResponseBase

from galleries import storage
from galleries.access import run_by
from galleries.models import Frame, Proof, Sitting, StudioSession
from galleries.models.compiled import Compiled
from galleries.steps import derived
from galleries.steps.people.invite import hash_of
from galleries.web import passes
from galleries.web.files import FOREVER, send

SMALL = re.compile(r"/files/proof/([0-9]{1,18})/small/([0-9]{1,18})\.jpg")
VIEW = re.compile(r"/files/view/([0-9]{1,18})\.jpg")


def _password(key: str, key_hash: str, account: int) -> Subquery:
    """Of the account, while it is active and its session stands in both tables; else nothing."""
    stands = Exists(Session.objects.filter(session_key=key, expire_date__gt=Now()))
    listed = Exists(StudioSession.objects.filter(key_hash=key_hash, account=OuterRef("pk")))
    return Subquery(User.objects.filter(stands, listed, pk=account, is_active=True).values("password")[:1])


def _small(key: str, key_hash: str, account: int, frame: int, proof: int) -> QuerySet[Any, Any]:
    rows = Proof.objects.filter(pk=proof, frame=frame, frame__sitting__in=run_by(account)).order_by()
    return rows.annotate(of_account=_password(key, key_hash, account)).values_list("of_account", "small_key")


def _view(key: str, key_hash: str, account: int, frame: int) -> QuerySet[Any, Any]:
    rows = Frame.objects.filter(pk=frame, sitting__in=run_by(account)).order_by()
    of_account = _password(key, key_hash, account)
    return rows.annotate(of_account=of_account).values_list("of_account", "sha256", "sitting__uid")


_ask_small, _ask_view = Compiled(_small, by_keys=True), Compiled(_view, by_keys=True)


def picture(request: HttpRequest) -> HttpResponseBase | None:
    """The answer, when it is one of these pictures and the answer is yes."""
    path = request.path_info
    small, view = SMALL.fullmatch(path), VIEW.fullmatch(path)
    if small is None and view is None:
        return None
    key, account = passes.held_account(request)
    if account is None:
        return None
    asked = (key, hash_of(key), account.pk)
    if small is not None:
        rows = _ask_small(*asked, int(small[1]), int(small[2]))
        if not _lets_in(rows, account):
            return None
        return _sent(request, derived.Derived(storage.proofs(), rows[0][1]), f"{int(small[2])}-small")
    if view is None:
        return None
    rows = _ask_view(*asked, int(view[1]))
    if not _lets_in(rows, account):
        return None
    _of_account, sha256, uid = rows[0]
    side = derived.DESK_SIDE if request.GET.get("of") == "desk" else derived.VIEW_SIDE
    rendition = derived.view_place(Sitting(uid=uid), sha256, side)
    return _sent(request, rendition, f"{sha256}-view{side}") if rendition.store.exists(rendition.key) else None


def _lets_in(rows: Sequence[tuple[Any, ...]], account: passes.Account) -> bool:
    return len(rows) == 1 and rows[0][0] is not None and account.began_under(rows[0][0])


def _sent(request: HttpRequest, place: derived.Derived, etag: str) -> HttpResponseBase:
    response = send(request, place.store, place.key, content_type="image/jpeg", etag=etag, cache=FOREVER)
    response.headers["X-Frame-Options"] = "DENY"
    return response
