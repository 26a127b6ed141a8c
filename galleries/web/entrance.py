"""The doors of the house: invite links, sign-in, the agent's desk, and out again."""

from __future__ import annotations

import time

from django.contrib.auth import authenticate, logout
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries.errors import Missing
from galleries.models import Invite, StudioSession
from galleries.steps.people import invite as invites
from galleries.steps.people import sign_ins, wishes
from galleries.web import agent_desk
from galleries.web.by_invite import let_in
from galleries.web.coming_in import come_in
from galleries.web.doors import address_of, count_try, invites_held, lets_in, open_to_all, user_of
from galleries.web.invitee import without_network


@open_to_all("it only says where to go")
@require_safe
def front(request: HttpRequest) -> HttpResponseBase:
    """The studio for the signed-in, the one sitting of somebody invited, a word to everybody else."""
    if user_of(request) is not None:
        return redirect("studio")
    held = _held(request)
    if len(held) == 1:
        return redirect("sitting", slug=held[0].sitting.slug)
    if held and all(one.is_representation for one in held):
        return redirect("desk")
    context = {"invites": held, "without_network": without_network.words_of_pages()}
    return render(request, "galleries/front.html", context)


@open_to_all("the link is the key, and it is checked here")
@require_http_methods(["GET", "HEAD", "POST"])
def open_sign_in(request: HttpRequest, token: str) -> HttpResponseBase:
    """A one-time sign-in link. The page asks for one press, so that a mail scanner's visit does not use it up."""
    if request.method != "POST":
        return render(request, "galleries/sign_in_link.html")
    try:
        link = invites.use_sign_in_link(token)
    except Missing:
        count_try(request, "sign-in")
        raise
    if link.user is not None and link.user.is_active:
        return come_in(request, link.user, reverse("studio"), StudioSession.Way.LINK)
    request.session.cycle_key()
    request.session["desk"] = link.email
    request.session["desk_since"] = time.time()
    for invite in invites.invites_of(link.email):
        let_in(request, invite)
    return redirect("desk")


@open_to_all("it is the way in")
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponseBase:
    """For the studio: name and password. The same words whether the name or the password is wrong."""
    onward = request.POST.get("next") or request.GET.get("next") or ""
    if not onward.startswith("/") or not url_has_allowed_host_and_scheme(
        onward, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    ):
        onward = "/studio/"
    problem = ""
    if request.method == "POST":
        count_try(request, "sign-in")
        name = request.POST.get("name", "")
        # From however many addresses, and whether or not there is such an account, so that the answer tells neither.
        count_try(request, "sign-in-name", invites.hash_of(name.strip().casefold()))
        user = authenticate(request, username=name, password=request.POST.get("password", ""))
        if isinstance(user, User):
            return come_in(request, user, onward, StudioSession.Way.PASSWORD)
        sign_ins.note_failed(name.strip(), address=address_of(request))
        problem = _("Name and password do not go together.")
    return render(
        request, "galleries/sign_in.html", {"next": onward, "problem": problem}, status=400 if problem else 200
    )


@open_to_all("it only leads to the way in")
@require_safe
def upkeep_sign_in(request: HttpRequest) -> HttpResponseBase:
    """The upkeep has no door of its own: the studio's counts the tries."""
    return redirect(f"{reverse('sign-in')}?next=/upkeep/")


@open_to_all("the answer is the same for every address")
@require_http_methods(["GET", "HEAD", "POST"])
def ask_link(request: HttpRequest) -> HttpResponseBase:
    """The way in again, by mail: for everybody invited, for agents with several sittings, for photographers."""
    sent = False
    if request.method == "POST":
        count_try(request, "ask-link")
        wishes.wish(request.POST.get("email", ""))
        sent = True
    return render(request, "galleries/ask_link.html", {"sent": sent})


@open_to_all("it shows only what links opened in this very session")
@require_safe
def desk(request: HttpRequest) -> HttpResponseBase:
    """An agent's sittings with this studio, on one page: all of them behind the mailed link, else those whose links
    this browser has opened."""
    email = request.session.get("desk", "")
    mine = _behind_mailed_link(request, email) if email else [one for one in _held(request) if one.is_representation]
    if not mine and not email:
        return redirect("ask-link")
    context = {
        "rows": agent_desk.rows(mine),
        "email": email,
        "without_network": {
            **without_network.before(None, to_desk=True),
            "words": without_network.words_of_pages(),
        },
    }
    return render(request, "galleries/desk.html", context)


def _behind_mailed_link(request: HttpRequest, email: str) -> list[Invite]:
    since = request.session.get("desk_since", 0.0)
    open_invites = invites.invites_of(email)
    mine = [one for one in open_invites if one.shut_before is None or since >= one.shut_before.timestamp()]
    held = invites_held(request, [invite.sitting_id for invite in mine])
    for invite in mine:
        if invite.sitting_id not in held:  # none yet, or one that was revoked meanwhile
            let_in(request, invite)
    return mine


def _held(request: HttpRequest) -> list[Invite]:
    """The invites whose links were opened in this session and still hold."""
    came_in = Invite.objects.filter(pk__in=request.session.get("invites", {}).values())
    return [one for one in came_in.select_related("sitting", "passed_from") if lets_in(request, one)]


@open_to_all("it only ends the caller's own session")
@require_POST
def leave(request: HttpRequest) -> HttpResponseBase:
    logout(request)
    response = redirect("front")
    # What the browser kept of somebody's pictures goes with the session.
    response.headers["Clear-Site-Data"] = '"cache", "storage"'
    return response
