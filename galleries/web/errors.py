"""The one place where a domain error becomes an answer: 404, 403, 409, 400 or 429, as a page or as JSON."""

from __future__ import annotations

import logging
import re
from collections.abc import Callable

from django.db import DataError
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, may
from galleries.errors import BadInput, Conflict, DomainError, Missing, NotYet, PriceChanged, Refused, TooOften
from galleries.imaging.errors import ImagingError
from galleries.models import Sitting
from galleries.web.doors import invite_for, invites_held, user_of, wants_json
from galleries.web.kept_form import page_again, written

# What a database or its driver says to a number beyond its columns, a text too long for one, half an emoji.
UNSTORABLE = (DataError, OverflowError, UnicodeEncodeError)
FORMS = {"application/x-www-form-urlencoded", "multipart/form-data"}
PICTURE = ".jpg"  # how the addresses of pictures end
OPINION = re.compile(r"^/opinion/|/opinion$")
log = logging.getLogger(__name__)
STATUS: dict[type[DomainError], int] = {
    Missing: 404,
    Refused: 403,
    NotYet: 403,
    Conflict: 409,
    PriceChanged: 409,
    BadInput: 400,
    TooOften: 429,
}


class DomainErrors:
    """Middleware."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: object) -> HttpResponseBase | None:
        """A zero byte in a form is no text: some databases refuse it, some papers and letters cannot show it."""
        if request.method != "POST" or request.content_type not in FORMS:
            return None
        if not any("\0" in value for _name, values in request.POST.lists() for value in values):
            return None
        return answer(request, BadInput(_("Something you sent is no text: it holds a zero byte.")))

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponseBase | None:
        if isinstance(error, UNSTORABLE):
            log.warning("Something that was sent cannot be stored: %s", type(error).__name__, exc_info=error)
            error = BadInput(_("Something you sent cannot be kept: too long, too large, or no text."))
        if isinstance(error, ImagingError):
            error = BadInput(error.told)
        if isinstance(error, FileNotFoundError):
            log.error("A stored file is missing; see manage.py verify.", exc_info=error)
            error = Missing(_("The file behind this is not here (any more)."))
        if not isinstance(error, DomainError):
            return None
        if _is_a_form(request) and isinstance(error, BadInput | Conflict):
            again = page_again(request, error, STATUS[type(error)])
            if again is not None:
                return again
        return answer(request, error)


def _is_a_form(request: HttpRequest) -> bool:
    return request.method == "POST" and request.content_type in FORMS and not wants_json(request)


def answer(request: HttpRequest, error: DomainError) -> HttpResponse:
    status = STATUS.get(type(error), 400)
    headers = {"Retry-After": str(error.seconds)} if isinstance(error, TooOften) else {}
    if wants_json(request):
        return JsonResponse({"error": str(error)}, status=status, headers=headers)
    if request.path.endswith(PICTURE):  # nobody reads a page in the place of a picture, and a page is dear to make
        return HttpResponse(f"{error}\n", status=status, headers=headers, content_type="text/plain; charset=utf-8")
    # Perhaps their way in ended; whoever is asked for a second opinion has it from the subject alone.
    lost = status in {403, 404} and user_of(request) is None and not OPINION.search(request.path)
    shown = {
        "sentence": str(error),
        "status": status,
        "early": isinstance(error, NotYet),
        "lost": lost,
        "within": lost and _within(request),
        "plan": _plan(request) if isinstance(error, NotYet) else "",
        "written": _written(request) if status in {403, 404, 409} else [],
    }
    page = render(request, "galleries/error.html", shown, status=status)
    for name, value in headers.items():
        page.headers[name] = value
    return page


def _within(request: HttpRequest) -> bool:
    """Does an invite still let this browser in somewhere? Then the way on is the start, not another link."""
    return bool(invites_held(request, map(int, request.session.get("invites", {}))))


def _written(request: HttpRequest) -> list[str]:
    """What was typed into a form whose page is not to be had any more: it is shown, so that it is not lost."""
    if not _is_a_form(request):
        return []
    return written(request.POST)


def _plan(request: HttpRequest) -> str:
    """The sitting whose plan is there already, for somebody who came too early for another of its pages; else none."""
    match = request.resolver_match
    sitting = Sitting.objects.filter(slug=match.kwargs.get("slug", "")).first() if match else None
    invite = invite_for(request, sitting.pk) if sitting else None
    return sitting.slug if sitting and invite and may(Visitor(invite=invite), Act.SEE_PLAN, sitting) else ""
