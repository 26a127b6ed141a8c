"""For whoever is asked for a second opinion: the link, the frames, one page on which to say it."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from galleries import storage
from galleries.access import Act, Visitor, frame_for, require
from galleries.errors import Missing
from galleries.models import SecondOpinion
from galleries.steps.ingesting import proof
from galleries.steps.keeping import trace
from galleries.steps.picking import opinions
from galleries.web.doors import count_try, guarded_inside, open_to_all
from galleries.web.files import send
from galleries.web.invitee import without_network
from galleries.web.invitee.page import key_in

HELD = "opinions"  # in the session: the second opinions that this browser came in for


@open_to_all("the link is the key, and it is checked here")
@require_http_methods(["GET", "HEAD", "POST"])
def open_opinion(request: HttpRequest, token: str) -> HttpResponseBase:
    """A press exchanges the link for a session, so that a program that looks at links opens none. What is behind it is
    told after that, and not before."""
    if request.method != "POST":
        return HttpResponse() if request.method == "HEAD" else render(request, "galleries/opinion_link.html")
    try:
        opinion = opinions.come_in(token)
    except Missing:
        count_try(request, "invite")
        raise
    held = [pk for pk in request.session.get(HELD, []) if pk != opinion.pk]
    request.session.cycle_key()
    request.session[HELD] = [*held[-9:], opinion.pk]
    return redirect("second-opinion", opinion_id=opinion.pk)


def _asked(request: HttpRequest, opinion_id: int) -> tuple[Visitor, SecondOpinion]:
    """
    Raises:
        Missing: this browser did not come in for it, or it is over.
    """
    rows = SecondOpinion.objects.select_related("sitting", "asked_by__passed_from")
    opinion = rows.filter(pk=opinion_id).first() if opinion_id in request.session.get(HELD, []) else None
    if opinion is None:
        raise Missing(opinions.gone())
    visitor = Visitor(opinion=opinion)
    require(visitor, Act.GIVE_OPINION, opinion)
    return visitor, opinion


@guarded_inside
@require_http_methods(["GET", "HEAD", "POST"])
def second_opinion(request: HttpRequest, opinion_id: int) -> HttpResponseBase:
    visitor, opinion = _asked(request, opinion_id)
    if request.method == "POST":
        count_try(request, "opinion", f"opinion-{opinion.pk}")
        chosen = [key_in(pk) for pk in request.POST.getlist("this")]
        opinions.say(opinion, visitor, chosen, request.POST.get("sentence", ""))
        messages.success(request, _("Thank you. It is for %s to read.") % _reader(opinion))
        return redirect("second-opinion", opinion_id=opinion.pk)
    context = {
        "opinion": opinion,
        "shown": opinions.shown_in(opinion, visitor),
        "asker": _reader(opinion),
        "without_network": without_network.words_of_pages(),
    }
    return render(request, "galleries/second_opinion.html", context)


def _reader(opinion: SecondOpinion) -> str:
    return opinion.asked_by.name


@guarded_inside
@require_safe
def opinion_picture(request: HttpRequest, opinion_id: int, frame_id: int) -> HttpResponseBase:
    """A stamped proof, with the mark of the subject's own copy: it is they who hand it on."""
    visitor, opinion = _asked(request, opinion_id)
    frame = frame_for(visitor, Act.GIVE_OPINION, frame_id)
    stamped = proof.current(frame)
    if stamped is None:
        raise Missing(_("There is no such proof."))
    key = trace.traced_copy(stamped, opinion.asked_by, middle=bool(stamped.middle_key))
    etag = f"{stamped.pk}-opinion-{opinion.asked_by_id}"
    # Not for the browser to keep: once it is ended, nothing is shown any more.
    return send(request, storage.proofs(), key, content_type="image/jpeg", etag=etag)
