"""A retoucher's versions by parts, straight to the bucket: as a photographer's frames, behind a door of their own."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from galleries.access import Act, Visitor
from galleries.models import Arrival, Sitting
from galleries.web.doors import invitee_page
from galleries.web.studio import upload_parts

KIND = Arrival.Kind.RETOUCH


@invitee_page(Act.SEE_RETOUCHING)
@require_http_methods(upload_parts.PARTS_METHODS)
def parts(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """What became of a file is told them as long as they see their page; whoever begins one is asked for more."""
    return upload_parts.answer_parts(request, visitor, sitting, KIND, told_why)


@invitee_page(Act.SEND_VERSION)
@require_POST
def part(request: HttpRequest, visitor: Visitor, sitting: Sitting, file: int, number: int) -> HttpResponseBase:
    return upload_parts.answer_part(request, visitor, sitting, KIND, file, number)


@invitee_page(Act.SEND_VERSION)
@require_POST
def join(request: HttpRequest, visitor: Visitor, sitting: Sitting, file: int) -> HttpResponseBase:
    return upload_parts.answer_join(visitor, sitting, KIND, file)


def told_why(arrival: Arrival) -> str:
    """Which other frames a file resembles is the studio's to know."""
    return stray_reason() if arrival.state == Arrival.State.STRAY else arrival.why


def stray_reason() -> str:
    return _("it says which final this is of")
