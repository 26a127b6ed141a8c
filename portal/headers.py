"""Headers that keep private pages private."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from csp.constants import HEADER
from csp.middleware import CSPMiddleware
from csp.utils import build_policy
from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase

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


class OnePolicy(CSPMiddleware):
    """The library's header, composed once: no page of ours asks for another policy. One that does, by the library's own
    marks on request or answer, is left to the library."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        super().__init__(get_response)
        policy: dict[str, Any] = getattr(settings, "CONTENT_SECURITY_POLICY", None) or {}
        reports = getattr(settings, "CONTENT_SECURITY_POLICY_REPORT_ONLY", None)
        self._policy = build_policy() if set(policy) == {"DIRECTIVES"} and not reports and not settings.DEBUG else ""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        of_its_own = any(name.startswith("_csp") for one in (request, response) for name in vars(one))
        if of_its_own or not self._policy:
            return super().process_response(request, response)
        response.headers.setdefault(HEADER, self._policy)
        return response
