"""Headers that keep private pages private."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "camera=(), geolocation=(), microphone=(), payment=(), usb=(), browsing-topics=()"


class PrivacyHeaders:
    """No page is indexed, none is kept by a shared cache; a view that sets Cache-Control itself is left alone."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("X-Robots-Tag", "noindex, nofollow, noarchive, noimageindex")
        response.headers.setdefault("Permissions-Policy", POLICY)
        response.headers.setdefault("Cache-Control", "private, no-store")
        return response
