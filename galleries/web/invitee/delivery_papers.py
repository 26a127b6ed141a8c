"""The papers of a delivery one by one: the licence to read and sign off, the print release to hand to a lab."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor
from galleries.models import JournalLine, Sitting, Verb
from galleries.steps.delivering import offer
from galleries.web.doors import invitee_page
from galleries.web.invitee.delivery import unlocked
from galleries.web.paper_file import delivery_of, paper_answer


@invitee_page(Act.FETCH)
@require_safe
def paper(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int, name: str) -> HttpResponseBase:
    """As closed as the files it lies beside."""
    delivery = delivery_of(visitor, Act.FETCH, sitting, delivery_id)
    offer.check_fetch(delivery, visitor, passcode_given=unlocked(request, delivery))
    answer = paper_answer(delivery, name, visitor)
    if request.method == "GET":  # asked about, nothing is fetched
        JournalLine.write(sitting, visitor.who, Verb.PAPER_FETCHED, name, delivery=delivery.number)
    return answer
