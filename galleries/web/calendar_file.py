"""A calendar file as an answer: days for a phone's own calendar."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

from galleries.errors import Missing
from galleries.papers.calendar import Day
from galleries.steps.people import deadlines

TYPE = "text/calendar; charset=utf-8"


def calendar_file(request: HttpRequest, days: list[Day], name: str) -> HttpResponse:
    """Raises `Missing` where there is no day to write."""
    if not days:
        raise Missing(_("There is no day that anything is wanted by."))
    answer = HttpResponse(deadlines.as_file(days, name), content_type=TYPE)
    answer["Content-Disposition"] = 'attachment; filename="deadlines.ics"'
    answer["Cache-Control"] = "private, no-store"
    return answer
