"""What is kept about the subject: what kinds of things, how to ask for a copy, and the copy that was let go."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor
from galleries.models import Sitting
from galleries.steps.keeping import own_copy as steps
from galleries.web.doors import invitee_page
from galleries.web.files import goes_out
from galleries.web.invitee.page import page
from galleries.web.own_copy_file import archive_answer, archive_for_the_studio, copy_of


@invitee_page(Act.FETCH_OWN_COPY)
@require_safe
def own_copy(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    copies = sitting.own_copies.let_go().order_by("-pk")
    if visitor.invite is not None:
        copies = copies.filter(invite=visitor.invite)
    return page(request, visitor, sitting, "own_copy", copies=copies)


@invitee_page(Act.FETCH_OWN_COPY)
@require_safe
def archive(request: HttpRequest, visitor: Visitor, sitting: Sitting, copy_id: int) -> HttpResponseBase:
    copy = copy_of(visitor, Act.FETCH_OWN_COPY, sitting, copy_id)
    steps.check_fetch(copy, visitor)
    if visitor.invite is None:
        return archive_for_the_studio(request, visitor, copy)
    answer = archive_answer(request, copy)
    if out := goes_out(request, answer):
        steps.fetched(copy, visitor, ranged=out == "range")
    return answer
