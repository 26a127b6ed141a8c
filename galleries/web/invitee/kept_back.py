"""What the subject keeps from the representation, shown as it would be seen, and let go."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from galleries.access import Act, Visitor, finals_shown_to, looks_shown_to
from galleries.models import Proof, Sitting
from galleries.steps.picking import kept
from galleries.web.doors import invitee_page
from galleries.web.invitee.page import key_in, page


@invitee_page(Act.LET_GO)
@require_http_methods(["GET", "HEAD", "POST"])
def kept_back(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """POST frame=… (each that was shown) and look=… (when it is let go as a whole)."""
    if request.method == "POST":
        look = None
        if named := request.POST.get("look", ""):
            look = get_object_or_404(looks_shown_to(visitor, sitting), pk=key_in(named))
        frames = kept.let_go(visitor, sitting, [key_in(pk) for pk in request.POST.getlist("frame")], look)
        sentence = ngettext("%d frame can be seen now.", "%d frames can be seen now.", len(frames)) % len(frames)
        messages.success(request, sentence)
        return redirect("kept-back", slug=sitting.slug)
    rows = kept.held(visitor, sitting)
    proofs = Proof.objects.newest_of(frame.pk for row in rows for frame in row.frames)
    listed = {final.frame_id for final in finals_shown_to(visitor, sitting).listed()}
    return page(
        request, visitor, sitting, "kept_back",
        rows=[
            {
                "kept": row,
                "frames": [(frame, proofs.get(frame.pk)) for frame in row.frames],
                "listed": [frame.label for frame in row.frames if frame.pk in listed],
            }
            for row in rows
        ],
        people=kept.who_would_see(sitting),
    )  # fmt: skip
