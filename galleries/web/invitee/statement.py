"""What is owed for extra finals, for the side that is asked to pay; the other side reads how many there are."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor, may, statement_for
from galleries.models import Sitting
from galleries.steps.agreeing import statements
from galleries.steps.delivering import payment
from galleries.web.doors import invitee_page
from galleries.web.invitee.page import page
from galleries.web.statement_file import shown, statement_answer
from galleries.words import statements as words


@invitee_page(Act.SEE_EXTRAS)
@require_safe
def statement(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    theirs = [one for one in sitting.statements.order_by("-pk") if may(visitor, Act.SEE_STATEMENT, one)]
    standing = statements.standing(sitting)
    counted = statements.counted(sitting, visitor)
    return page(
        request,
        visitor,
        sitting,
        "statement",
        rows=[
            {
                **shown(one, statements.read(one, visitor)),
                "statement": one,
                "stands": standing is not None and one.pk == standing.pk,
                "due": one.sheet.due,
            }
            for one in theirs
        ],
        counted=words.counted(counted) if counted is not None else "",
        payer=standing.payer if standing is not None else "",
        holding=payment.holding(sitting),
        caution=words.caution(),
    )


@invitee_page(Act.SEE_STATEMENT)
@require_safe
def statement_file(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, number: int, kind: str
) -> HttpResponseBase:
    return statement_answer(statement_for(visitor, sitting, number), kind, visitor)
