"""Where one is signed in: a list of one's own sessions, each with its end."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.models import StudioSession
from galleries.steps.people import browsers
from galleries.steps.people import sessions as steps
from galleries.web.doors import signed_in


@dataclass(frozen=True)
class Row:
    session: StudioSession
    browser: str
    way: str
    here: bool


def way_words(session: StudioSession) -> str:
    if session.way == StudioSession.Way.UNKNOWN:
        return ""
    first = _("by password") if session.way == StudioSession.Way.PASSWORD else _("by mailed link")
    if session.second == StudioSession.Second.PASSKEY:
        return _("%s and passkey") % first
    return _("%s and code") % first if session.second else first


@signed_in
@require_safe
def sessions(request: HttpRequest, user: User) -> HttpResponseBase:
    key = request.session.session_key or ""
    rows = [
        Row(one, browsers.words(one.browser, one.system), way_words(one), steps.is_here(one, key))
        for one in steps.of_account(user)
    ]
    rows.sort(key=lambda row: not row.here)
    context = {"page": "account", "rows": rows, "others": any(not row.here for row in rows)}
    return render(request, "galleries/studio/sessions.html", context)


@signed_in
@require_POST
def end(request: HttpRequest, user: User, session_id: int) -> HttpResponseBase:
    steps.end(user, Visitor(user=user), session_id)
    messages.success(request, _("That session is over."))
    return redirect("sessions")


@signed_in
@require_POST
def end_others(request: HttpRequest, user: User) -> HttpResponseBase:
    ended = steps.end_all_others(user, Visitor(user=user), request.session.session_key or "")
    messages.success(request, ngettext("%d session is over.", "%d sessions are over.", ended) % ended)
    return redirect("sessions")
