"""'Everything about me' for the subject: asked for here, looked at, let go or withdrawn."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from galleries.access import Act, Visitor, sittings_of
from galleries.errors import BadInput, Missing
from galleries.models import Invite, OwnCopy, Sitting
from galleries.steps.keeping import own_copy, own_page
from galleries.web.doors import studio_page
from galleries.web.own_copy_file import archive_for_the_studio, copy_of
from galleries.web.studio.forms import whole


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def own_copies(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """POST do = make (person, originals, days), let-go or withdraw (copy)."""
    if request.method == "POST":
        _do(request, visitor, sitting)
        return redirect("studio-own-copies", slug=sitting.slug)
    people = [one for one in sitting.invites.filter(role=Invite.Role.SUBJECT).order_by("pk") if one.holds()]
    copies = list(sitting.own_copies.select_related("invite").order_by("-pk"))
    context = {
        "sitting": sitting,
        "page": "studio-own-copies",
        "people": people,
        "rows": [_row(one) for one in copies],
        "making": any(one.state == OwnCopy.State.WAITING for one in copies),
        "elsewhere": _elsewhere(visitor, sitting, people),
        "days": own_copy.USUAL_DAYS,
        "most_days": own_copy.MOST_DAYS,
    }
    return render(request, "galleries/studio/own_copies.html", context)


def _row(copy: OwnCopy) -> dict[str, Any]:
    counts = copy.holds.get("rows", {})
    return {
        "copy": copy,
        "problem": own_copy.problem_of(copy),
        "pictures": copy.holds.get("pictures", 0),
        "tables": [(own_page.heading(name), count) for name, count in counts.items()],
    }


def _elsewhere(visitor: Visitor, sitting: Sitting, people: list[Invite]) -> list[Sitting]:
    """Other sittings in which the same address is the subject: each has a copy of its own."""
    if visitor.user is None:
        return []
    same = Invite.objects.filter(role=Invite.Role.SUBJECT, email__in=[one.email for one in people])
    mine = sittings_of(visitor.user).filter(pk__in=same.values("sitting")).exclude(pk=sitting.pk)
    return list(mine.order_by("title"))


def _do(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> None:
    do = request.POST.get("do")
    if do == "make":
        pk = whole(request.POST.get("person", ""), _("person"))
        person = sitting.invites.filter(pk=pk).first()
        if person is None:
            raise Missing(_("There is no such invite in this sitting."))
        days = whole(request.POST.get("days", ""), _("number of days"))
        own_copy.ask(sitting, visitor, person, with_originals=bool(request.POST.get("originals")), days=days)
        messages.success(request, _("The copy is being made. Look at it here before you let it go."))
    elif do == "let-go":
        own_copy.let_go(_copy(request.POST.get("copy", ""), visitor, sitting), visitor)
        messages.success(request, _("The copy is let go, and a letter says so."))
    elif do == "withdraw":
        own_copy.withdraw(_copy(request.POST.get("copy", ""), visitor, sitting), visitor)
        messages.success(request, _("The copy is withdrawn and its file removed."))
    else:
        raise BadInput(_("A copy is made, let go, or withdrawn."))


def _copy(named: str, visitor: Visitor, sitting: Sitting) -> OwnCopy:
    return copy_of(visitor, Act.RUN, sitting, whole(named, _("copy")))


@studio_page()
@require_safe
def own_copy_archive(request: HttpRequest, visitor: Visitor, sitting: Sitting, copy_id: int) -> HttpResponseBase:
    """For the photographer to look at, before it goes and after."""
    return archive_for_the_studio(request, visitor, copy_of(visitor, Act.RUN, sitting, copy_id))
