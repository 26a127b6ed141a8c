"""The papers of a delivery one by one: the licence to read and sign off, the print release to hand to a lab."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor, delivery_for, files_shown_to
from galleries.errors import Missing
from galleries.models import Delivery, JournalLine, Sitting
from galleries.steps.delivering import offer, package
from galleries.web.doors import invitee_page, studio_page
from galleries.web.invitee.delivery import _unlocked

TYPES = {"pdf": "application/pdf", "json": "application/json"}


@invitee_page(Act.FETCH)
@require_safe
def paper(request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int, name: str) -> HttpResponseBase:
    """As closed as the files it lies beside."""
    made = _of(visitor, Act.FETCH, sitting, delivery_id)
    offer.check_fetch(made, visitor, passcode_given=_unlocked(request, made))
    answer = _answer(made, name, visitor)
    JournalLine.write(sitting, visitor.who, "paper fetched", name, delivery=made.number)
    return answer


@studio_page()
@require_safe
def studio_paper(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, delivery_id: int, name: str
) -> HttpResponseBase:
    return _answer(_of(visitor, Act.RUN, sitting, delivery_id), name, visitor)


def _of(visitor: Visitor, act: Act, sitting: Sitting, delivery_id: int) -> Delivery:
    made = delivery_for(visitor, act, delivery_id)
    if made.sitting_id != sitting.pk or made.state == Delivery.State.WAITING:
        raise Missing(_("There is no such delivery, or your link does not lead to it."))
    return made


def _answer(made: Delivery, name: str, visitor: Visitor) -> HttpResponse:
    data = package.single_papers(made, files_shown_to(visitor, made)).get(name)
    if data is None:
        raise Missing(_("This delivery has no such paper."))
    response = HttpResponse(data, content_type=TYPES[name.rsplit(".", 1)[1]])
    stem = made.archive_name.removesuffix(".zip")
    response.headers["Content-Disposition"] = f'inline; filename="{stem}_{name}"'
    response.headers["Cache-Control"] = "private, no-store"
    return response
