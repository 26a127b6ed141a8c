"""Sessions as Django keeps them, asked for only by a key that one can have."""

from __future__ import annotations

import re

from django.conf import settings
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest

KEY = re.compile(r"[0-9A-Za-z]+")


class Sessions(SessionMiddleware):
    """Middleware: any other cookie is none. PostgreSQL refuses even to look for a key with a zero byte in it, which
    would be a broken page for whoever sends it."""

    def process_request(self, request: HttpRequest) -> None:
        if not KEY.fullmatch(request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")):
            request.COOKIES.pop(settings.SESSION_COOKIE_NAME, None)
        super().process_request(request)
