"""The one place where a domain error becomes an answer: 404, 403, 409 or 400, as a page or as JSON."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render

from galleries.errors import BadInput, Conflict, DomainError, Missing, Refused

STATUS: dict[type[DomainError], int] = {Missing: 404, Refused: 403, Conflict: 409, BadInput: 400}


def wants_json(request: HttpRequest) -> bool:
    return request.headers.get("Accept", "").startswith("application/json")


class DomainErrors:
    """Middleware."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponseBase | None:
        if not isinstance(error, DomainError):
            return None
        status = STATUS.get(type(error), 400)
        if wants_json(request):
            return JsonResponse({"error": str(error)}, status=status)
        return render(request, "galleries/error.html", {"sentence": str(error), "status": status}, status=status)
