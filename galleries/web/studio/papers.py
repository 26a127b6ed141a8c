"""Papers and notes of a sitting: the contact sheet to print, the set-up notes, the gel's arithmetic."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from galleries.access import Visitor
from galleries.models import Sitting
from galleries.steps.sorting import contact
from galleries.steps.sorting.contact import setup_lines
from galleries.web.doors import studio_page
from galleries.web.studio.gel_words import words_for


@studio_page()
@require_safe
def contact_sheet(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """?page=A4 or Letter."""
    page = request.GET.get("page", "A4")
    response = HttpResponse(contact.contact_sheet(visitor, sitting, page=page), content_type="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="contact-{sitting.slug}-{page}.pdf"'
    response.headers["Cache-Control"] = "private, no-store"
    return response


@studio_page()
@require_safe
def setup(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Per look the set-up, to read on set and to shoot again next year."""
    rows = [{"look": look, "lines": setup_lines(look), "frames": look.frames.count()} for look in sitting.looks.all()]
    return render(request, "galleries/studio/setup.html", {"sitting": sitting, "page": "studio-setup", "rows": rows})


@studio_page()
@require_safe
def gel(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """?name=…&mired=… → what the gel does, in words; {} when it is not known."""
    return JsonResponse(words_for(request.GET.get("name", ""), request.GET.get("mired", "")))
