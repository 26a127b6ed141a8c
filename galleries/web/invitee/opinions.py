"""The subject's second opinions: asked, read, ended; and what the agent may read of them."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from galleries.access import Act, Visitor, frames_shown_to, looks_shown_to, may
from galleries.errors import BadInput, Conflict, Missing
from galleries.models import SecondOpinion, Sitting
from galleries.steps.picking import opinions as steps
from galleries.web.doors import invitee_page
from galleries.web.invitee.page import key_in, page

PICKS = "picks"


@invitee_page(Act.SEE_OPINIONS)
@require_http_methods(["GET", "HEAD", "POST"])
def opinions(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """do = ask, end, remove or agent."""
    if request.method != "POST":
        return _page(request, visitor, sitting)
    do = request.POST.get("do", "")
    if do == "ask":
        if not sitting.is_picking:
            raise Conflict(_("The list was closed meanwhile; second opinions are asked for while picks are open."))
        frame_ids = _frames(request.POST.get("which", ""), visitor, sitting)
        asked, link = steps.ask(
            sitting, visitor, request.POST.get("name", ""), frame_ids,
            for_representation=request.POST.get("agent") == "yes",
        )  # fmt: skip
        return _page(request, visitor, sitting, link=link, asked=asked)
    opinion = _own(visitor, sitting, request.POST.get("opinion", ""))
    if do == "end":
        steps.end(opinion, visitor)
        messages.success(request, _("Ended: the link shows nothing any more."))
    elif do == "remove":
        steps.remove(opinion, visitor)
        messages.success(request, _("Removed, with all that was said."))
    elif do == "agent":
        steps.let_representation(opinion, visitor, request.POST.get("allowed") == "yes")
    else:
        raise BadInput(_("A second opinion is asked for, ended or removed."))
    return redirect("opinions", slug=sitting.slug)


def _frames(which: str, visitor: Visitor, sitting: Sitting) -> list[int]:
    """Those of the picks, or of a look."""
    if which == PICKS:
        return [frame.pk for frame in steps.picks_of(visitor, sitting)]
    return list(frames_shown_to(visitor, sitting).filter(look=key_in(which)).values_list("pk", flat=True))


def _own(visitor: Visitor, sitting: Sitting, pk: str) -> SecondOpinion:
    opinion = sitting.second_opinions.select_related("sitting", "asked_by__passed_from").filter(pk=key_in(pk)).first()
    if opinion is None or not may(visitor, Act.KEEP_OPINION, opinion):
        raise Missing(_("There is no such second opinion, or your link does not lead to it."))
    return opinion


def _page(request: HttpRequest, visitor: Visitor, sitting: Sitting, **more: Any) -> HttpResponseBase:
    rows = [
        {"opinion": opinion, "shown": shown, "holds": opinion.holds(), "chosen": [one for one in shown if one.this_one]}
        for opinion, shown in steps.read_by(visitor, sitting)
    ]
    asks = may(visitor, Act.ASK_OPINION, sitting)
    return page(
        request, visitor, sitting, "opinions", rows=rows, asks=asks, most=steps.MOST_FRAMES,
        picks=len(steps.picks_of(visitor, sitting)) if asks else 0,
        looks=looks_shown_to(visitor, sitting).filter(frames__hidden=False).distinct() if asks else [],
        has_agent=any(one.holds() for one in sitting.invites.filter(role="representation")), **more,
    )  # fmt: skip
