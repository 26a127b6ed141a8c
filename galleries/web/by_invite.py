"""Coming in by the link of an invite: once in each browser, which is known from then on (`steps/people/openings`)."""

from __future__ import annotations

import time

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from galleries.errors import Missing, Refused
from galleries.models import Invite
from galleries.steps.people import openings
from galleries.web import device
from galleries.web.doors import CAME, count_try, invite_for, open_to_all


@open_to_all("the link is the key, and it is checked here")
@require_http_methods(["GET", "HEAD", "POST"])
def open_invite(request: HttpRequest, token: str) -> HttpResponseBase:
    """Exchange an invite link for a session bound to its sitting, and leave the token behind.

    A browser that is known goes straight in. Any other is asked for one press, so that a mail scanner's visit does not
    open the link in its place. A HEAD, as programs send it that look whether a link leads anywhere, is told nothing.
    """
    if request.method == "HEAD":
        return HttpResponse()
    try:
        seen = openings.look(token, device.token_of(request))
        if request.method == "POST":
            end = request.POST.get("end") == "yes"
            return _into(request, openings.open_link(token, device.token_for(request), end_earlier=end))
        if seen.state == openings.State.KNOWN:
            return _into(request, openings.come_again(token, device.token_for(request)))
    except Missing:
        count_try(request, "invite")
        raise
    except Refused:
        return _page(request, token, taken=True, status=403)
    if invite_for(request, seen.invite.sitting_id) == seen.invite:
        return redirect("sitting", slug=seen.invite.sitting.slug)
    if seen.state == openings.State.TAKEN:
        return _page(request, token, taken=True, status=403)
    return _page(request, token, earlier=seen.earlier)


@open_to_all("the letter goes to the address on record, whoever asks")
@require_POST
def send_again(request: HttpRequest, token: str) -> HttpResponseBase:
    """'Send me my link again', where a link was opened elsewhere."""
    count_try(request, "ask-link")
    try:
        openings.send_again(token)
    except Missing:
        count_try(request, "invite")
        raise
    return _page(request, token, sent=True)


def _page(request: HttpRequest, token: str, status: int = 200, **shown: bool) -> HttpResponseBase:
    return render(request, "galleries/invite_link.html", {"token": token, **shown}, status=status)


def _into(request: HttpRequest, invite: Invite) -> HttpResponseBase:
    let_in(request, invite)
    response = redirect("sitting", slug=invite.sitting.slug)
    if invite.language and settings.LANGUAGE_COOKIE_NAME not in request.COOKIES:
        # The language the studio knows the person by, until they choose another.
        response.set_cookie(
            settings.LANGUAGE_COOKIE_NAME,
            invite.language,
            secure=settings.LANGUAGE_COOKIE_SECURE,
            httponly=settings.LANGUAGE_COOKIE_HTTPONLY,
            samesite="Lax",
        )
    return response


def let_in(request: HttpRequest, invite: Invite) -> None:
    held, came = dict(request.session.get("invites", {})), dict(request.session.get(CAME, {}))
    held[str(invite.sitting_id)] = invite.pk
    came[str(invite.pk)] = time.time()
    request.session.cycle_key()
    request.session["invites"], request.session[CAME] = held, came
