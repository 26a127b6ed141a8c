"""Requests for use beyond the licence, and their answers."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput, Missing
from galleries.models import Sitting
from galleries.papers.licence_fields import USES
from galleries.steps.delivering import usage
from galleries.web import use_words
from galleries.web.doors import studio_page
from galleries.web.studio import letter_words


@studio_page()
@require_safe
def usage_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    rows = [
        {
            "request": one,
            "use": use_words.USE_WORDS.get(one.use, one.use),
            "known": one.use in USES,
            "granted": use_words.granted(one),
        }
        for one in sitting.usage_requests.select_related("addendum").order_by("-pk")
    ]
    context = {"sitting": sitting, "page": "studio-usage", "rows": rows, "uses": use_words.USE_WORDS.items()}
    return render(request, "galleries/studio/usage.html", context)


@studio_page()
@require_POST
def answer(request: HttpRequest, visitor: Visitor, sitting: Sitting, request_id: int) -> HttpResponseBase:
    """do = grant (uses, until, note) or refuse (answer)."""
    asked = sitting.usage_requests.select_related("sitting").filter(pk=request_id).first()
    if asked is None:
        raise Missing(_("There is no such request in this sitting."))
    words = request.POST.get("answer", "")
    if request.POST.get("do") == "grant":
        until = request.POST.get("until", "").strip()
        try:
            last = date.fromisoformat(until) if until else None
        except ValueError:
            raise BadInput(_("“%s” is not a day.") % until) from None
        uses = [use for use in request.POST.getlist("uses") if use]
        usage.grant(asked, visitor, uses, until=last, note=request.POST.get("note", ""), answer=words)
        messages.success(request, _("Granted; the licence has a new wording."))
    elif request.POST.get("do") == "refuse":
        usage.refuse(asked, visitor, words)
        messages.success(request, _("The answer is on record."))
    else:
        raise BadInput(_("A request is granted or refused."))
    letter_words.warn(request)
    return redirect("studio-usage", slug=sitting.slug)
