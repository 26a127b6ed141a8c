"""The last answers: what no page and no domain error spoke for. A page of the house each, never a bare line."""

from __future__ import annotations

import sys

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from galleries.errors import Missing, Refused
from galleries.steps import setbacks
from galleries.web.doors import wants_json
from galleries.web.errors import answer
from galleries.words.steps import Code


def not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    return answer(request, Missing(_("There is no page at this address.")))


def not_from_here(request: HttpRequest, reason: str = "") -> HttpResponseBase:
    """A form whose token is missing or old: the page was open for long, or the form is another site's."""
    sentence = _("This page was open for too long, or its cookie is gone. Go back, load it anew, and try again.")
    return answer(request, Refused(sentence))


def fault(request: HttpRequest) -> HttpResponse:
    """500, or what is known to pass: 507 for a full disk (RFC 4918), 503 for something out of reach (RFC 9110).

    Asks no table and no store for anything: they may be what is away.
    """
    error = sys.exception()
    passing = setbacks.passing(error) if error is not None else None
    if passing is not None and passing.code == Code.DISK_FULL:
        status, title = 507, _("There is no room left")
        sentence = _("The studio's disk is full. What you sent last was not kept; all from before is there.")
    elif passing is not None:
        status, title = 503, _("Not at the moment")
        sentence = _("Something the site needs cannot be reached at the moment. Try again in a minute.")
    else:
        status, title = 500, _("Something broke here")
        sentence = _("This is the site's fault and not yours. What you sent last may not have been kept.")
    if wants_json(request):
        response: HttpResponse = JsonResponse({"error": sentence}, status=status)
    else:
        page = render_to_string("galleries/fault.html", {"title": title, "sentence": sentence, "again": request.path})
        response = HttpResponse(page, status=status)
    if status == 503:
        response.headers["Retry-After"] = "60"
    response.headers["Cache-Control"] = "no-store"
    return response
