"""Extra finals of a sitting: what they cost, the statements, and the photographer's word that one is paid."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries.access import Visitor, statement_for
from galleries.errors import BadInput
from galleries.models import Sitting
from galleries.steps.agreeing import extras, statements
from galleries.steps.delivering import payment
from galleries.web import extra_words
from galleries.web.doors import studio_page
from galleries.web.statement_file import shown, statement_answer
from galleries.web.studio.extra_forms import OwnPriceForm, as_typed
from galleries.web.studio.forms import checked, whole


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def extras_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """POST sets the sitting's price."""
    if request.method == "POST":
        values = checked(OwnPriceForm(request.POST))
        extras.set_own(sitting, visitor, values.pop("source"), **values)
        messages.success(request, _("Kept. It holds from now on; statements that were issued stay as they are."))
        return redirect("studio-extras", slug=sitting.slug)
    quoted = extras.quote(sitting)
    context = {
        "sitting": sitting,
        "page": "studio-extras",
        "form": OwnPriceForm(initial=as_typed(extras.own(sitting)), auto_id="extra_%s"),
        "holds": extra_words.terms(quoted),
        "usual": extra_words.price(extras.price_of(extras.usual()), sitting.allowance),
        "nobody": quoted.price is not None and not sitting.invites.unrevoked().filter(role=quoted.payer).exists(),
        "payer": quoted.payer,
        "was_paid": any(one.paid_at for one in sitting.statements.all()),
        "uncounted": extras.uncounted_words(sitting, quoted.price.currency) if quoted.price is not None else "",
        "statements": _rows(sitting, visitor),
    }
    return render(request, "galleries/studio/extras.html", context)


def _rows(sitting: Sitting, visitor: Visitor) -> list[dict[str, Any]]:
    """The statements, the one that stands first."""
    rows: list[dict[str, Any]] = []
    for one in sitting.statements.order_by("-pk"):
        sheet = statements.read(one, visitor)
        rows.append({"statement": one, "stands": not rows, "due": sheet.due, **shown(one, sheet)})
    return rows


@studio_page()
@require_POST
def extras_paid(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """do = paid or unpaid."""
    statement = statement_for(visitor, sitting, whole(request.POST.get("number", ""), _("number of a statement")))
    do = request.POST.get("do", "")
    if do not in {"paid", "unpaid"}:
        raise BadInput(_("Say whether it is paid or not."))
    payment.say_paid(statement, visitor, do == "paid")
    messages.success(
        request,
        _("Statement %d is paid.") % statement.number
        if do == "paid"
        else _("Statement %d is not paid after all.") % statement.number,
    )
    return redirect("studio-extras", slug=sitting.slug)


@studio_page()
@require_safe
def statement_file(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, number: int, kind: str
) -> HttpResponseBase:
    return statement_answer(statement_for(visitor, sitting, number), kind, visitor)
