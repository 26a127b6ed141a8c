"""'I object': what the agent chose and what not, and the subject's word against it while there is time."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from galleries.access import Act, Visitor
from galleries.models import Frame, Proof, Sitting
from galleries.steps.agreeing import agree
from galleries.steps.agreeing import objection as objections
from galleries.web.doors import invitee_page
from galleries.web.invitee.page import page


@invitee_page(Act.OBJECT)
@require_http_methods(["GET", "HEAD", "POST"])
def objection(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    if request.method == "POST":
        objections.object_to_list(sitting, visitor, request.POST.get("words", ""))
        messages.success(request, _("The list is open again, and everybody is told. You may change your marks."))
        return redirect("sheet", slug=sitting.slug)
    listed = [final.frame for final in agree.listed_for(visitor, sitting)]
    missing = objections.left_out(sitting, visitor)
    groups = [
        (_("On the list"), listed),
        (_("You picked, and not on it"), missing.get("subject", [])),
        (_("The representation picked, and not on it"), missing.get("representation", [])),
    ]
    proofs = Proof.objects.newest_of(frame.pk for _title, frames in groups for frame in frames)
    return page(
        request, visitor, sitting, "objection",
        groups=[(title, _pictured(frames, proofs)) for title, frames in groups if frames],
        until=sitting.objection_until,
        longest=objections.WORDS_LENGTH,
        closed=sitting.rounds.order_by("-number").first(),
    )  # fmt: skip


def _pictured(frames: list[Frame], proofs: dict[int, Proof]) -> list[tuple[Frame, Proof | None]]:
    return [(frame, proofs.get(frame.pk)) for frame in frames]
