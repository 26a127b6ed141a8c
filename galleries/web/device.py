"""The cookie by which this browser is known again: a random token, signed, that no script reads. It opens nothing."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

from galleries.steps.people import devices

SALT = "galleries.device"
MADE = "_device_token"


def token_of(request: HttpRequest) -> str:
    """The token this browser brought, or was given by this very request; '' when it has none of ours."""
    token = getattr(request, MADE, "")
    return token or str(request.get_signed_cookie(settings.DEVICE_COOKIE_NAME, default="", salt=SALT) or "")


def token_for(request: HttpRequest) -> str:
    """As `token_of`; a browser without one gets one with the answer, and one that has it keeps it for longer."""
    token = token_of(request) or devices.new_token()
    setattr(request, MADE, token)
    return token


class DeviceCookie:
    """Middleware: hands out what `token_for` gave."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if token := getattr(request, MADE, ""):
            response.set_signed_cookie(
                settings.DEVICE_COOKIE_NAME,
                token,
                salt=SALT,
                max_age=devices.KEPT,
                secure=settings.SECURE,
                httponly=True,
                samesite="Lax",
            )
        return response
