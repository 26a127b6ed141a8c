"""Whoever is signed in to the studio stands in the list of their sessions, and is out when taken off it."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth import logout
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase

from galleries.models import StudioSession
from galleries.steps.people import sessions
from galleries.web.doors import address_of, user_of

LISTED = "listed"  # in the session: it had its row, so that without one it was ended


def begin(
    request: HttpRequest,
    user: User,
    way: StudioSession.Way = StudioSession.Way.UNKNOWN,
    second: StudioSession.Second = StudioSession.Second.NONE,
) -> None:
    """Put this browser's session on the list."""
    if request.session.session_key is None:
        request.session.create()
    agent = request.headers.get("User-Agent", "")
    key = str(request.session.session_key)
    sessions.begin(user, key, address=address_of(request), agent=agent, way=way, second=second)
    request.session[LISTED] = True


class ListedSession:
    """Middleware: a session of the studio without its row is over. One of an earlier release is given its row."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        user = user_of(request)
        key = request.session.session_key or ""
        if user is None or not key:
            return self.get_response(request)
        if not sessions.stands(user, key):
            if LISTED in request.session:
                logout(request)
                return self.get_response(request)
            begin(request, user)
        response = self.get_response(request)
        after = user_of(request)
        stays = after is not None and after.pk == user.pk
        if not stays or request.session.session_key != key:
            sessions.moved(key, (request.session.session_key or "") if stays else "")
        return response
