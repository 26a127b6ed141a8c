"""How long somebody of the studio stays signed in without doing anything."""

from __future__ import annotations

import time
from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponseBase

from galleries.web.doors import user_of

SEEN = "seen"  # seconds since 1970, at most `EVERY` old while its owner is at work
EVERY = 300


def begin(request: HttpRequest) -> None:
    """The hours begin, when somebody signs in."""
    request.session[SEEN] = int(time.time())


class IdleLimit:
    """Middleware: a session of the studio that was left alone for too long ends at the next request.

    People invited stay in as long as their invite holds; every request asks that (`doors.invite_for`).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        user = user_of(request)
        if user is not None:
            now = int(time.time())
            came = int(user.last_login.timestamp()) if user.last_login else 0
            idle = now - request.session.get(SEEN, came)  # a session of an earlier release knows no better
            if idle > settings.STUDIO_IDLE_HOURS * 3600:
                logout(request)
            elif idle > EVERY:
                request.session[SEEN] = now
        return self.get_response(request)
