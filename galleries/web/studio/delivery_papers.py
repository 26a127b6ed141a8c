"""The papers of a delivery one by one, for the photographer."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor
from galleries.models import Sitting
from galleries.web.doors import studio_page
from galleries.web.paper_file import delivery_of, paper_answer


@studio_page()
@require_safe
def studio_paper(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int, name: str
) -> HttpResponseBase:
    return paper_answer(delivery_of(visitor, Act.RUN, sitting, delivery_id), name, visitor)
