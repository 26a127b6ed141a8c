"""One paper of a delivery as an answer, for whoever may read it."""

from __future__ import annotations

from django.http import HttpResponse
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, delivery_for, files_shown_to
from galleries.errors import Missing
from galleries.models import Delivery, Sitting
from galleries.steps.delivering import package

TYPES = {"pdf": "application/pdf", "json": "application/json"}


def delivery_of(visitor: Visitor, act: Act, sitting: Sitting, delivery_id: int) -> Delivery:
    """A delivery of this sitting whose papers exist. Raises `Missing`, and as `delivery_for`."""
    delivery = delivery_for(visitor, act, delivery_id)
    if delivery.sitting_id != sitting.pk or delivery.state == Delivery.State.WAITING:
        raise Missing(_("There is no such delivery, or your link does not lead to it."))
    return delivery


def paper_answer(delivery: Delivery, name: str, visitor: Visitor) -> HttpResponse:
    """The paper by its file name. Raises `Missing`."""
    data = package.papers_by_name(delivery, files_shown_to(visitor, delivery)).get(name)
    if data is None:
        raise Missing(_("This delivery has no such paper."))
    response = HttpResponse(data, content_type=TYPES[name.rsplit(".", 1)[1]])
    stem = delivery.archive_name.removesuffix(".zip")
    response.headers["Content-Disposition"] = f'inline; filename="{stem}_{name}"'
    response.headers["Cache-Control"] = "private, no-store"
    return response
