"""Coming into the studio: with what the account asks beside password or link, and not before."""

from __future__ import annotations

import time
from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import login
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponseBase, HttpResponseRedirect, JsonResponse
from django.shortcuts import redirect, render
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_http_methods, require_POST

from galleries.errors import BadInput, Refused
from galleries.models import StudioSession
from galleries.steps.people import new_devices, passkeys, second_factor, sign_ins
from galleries.web import asking, device, idle, listed
from galleries.web.doors import address_of, count_try, open_to_all, user_of

HALFWAY = "halfway"
PASSKEY = "passkey"  # what was asked of one
HALFWAY_SECONDS = 600
BACKEND = "django.contrib.auth.backends.ModelBackend"
# What opens to whoever still has to set the second factor up, where everybody has to.
BEFORE = {"leave", "language", "sign-in", "open-sign-in", "ask-link"}


def come_in(request: HttpRequest, user: User, onward: str, way: StudioSession.Way) -> HttpResponseBase:
    """After the password or the mailed link: in, or to the second step. Nobody is signed in between the two."""
    if not second_factor.stands(user):
        _sign_in(request, user, way, StudioSession.Second.NONE)
        return HttpResponseRedirect(onward)
    request.session.cycle_key()
    request.session[HALFWAY] = {
        "account": user.pk,
        # A password changed meanwhile ends this too.
        "password": user.get_session_auth_hash(),
        "until": time.time() + HALFWAY_SECONDS,
        "onward": onward,
        "way": str(way),
    }
    return redirect("second-step")


def _sign_in(request: HttpRequest, user: User, way: StudioSession.Way, second: StudioSession.Second) -> None:
    first, agent = user.last_login is None, request.headers.get("User-Agent", "")
    login(request, user, backend=BACKEND)
    sign_ins.note(user, address=address_of(request), second_factor=bool(second))
    new_devices.note(user, device.token_for(request), first=first, address=address_of(request), agent=agent)
    idle.begin(request)
    listed.begin(request, user, way, second)


def _halfway(request: HttpRequest) -> tuple[User, str, StudioSession.Way] | None:
    """Who has done the first step in this browser, where they are going, and how they did it; None when nobody has, or
    too long ago."""
    kept = request.session.get(HALFWAY)
    if kept is None or kept["until"] < time.time():
        return None
    user = User.objects.filter(pk=kept["account"], is_active=True).first()
    if user is None or not constant_time_compare(kept["password"], user.get_session_auth_hash()):
        return None
    return user, kept["onward"], StudioSession.Way(kept.get("way", ""))


@open_to_all("it opens to nobody who has not shown password or link in this browser")
@require_http_methods(["GET", "HEAD", "POST"])
def second_step(request: HttpRequest) -> HttpResponseBase:
    """A code or a passkey, after the password."""
    halfway = _halfway(request)
    if halfway is None:
        return redirect("sign-in")
    user, onward, way = halfway
    problem = ""
    if request.method == "POST":
        count_try(request, "second-step")
        count_try(request, "second-step-account", str(user.pk))
        try:
            second = StudioSession.Second.PASSKEY if "answer" in request.POST else StudioSession.Second.CODE
            if second == StudioSession.Second.PASSKEY:
                passkeys.open_with(user, asking.kept(request, PASSKEY), asking.answer(request))
            else:
                second_factor.open_with(user, request.POST.get("code", ""))
        except (BadInput, Refused) as error:
            sign_ins.note_failed(user.get_username(), address=address_of(request))
            problem = str(error)
        else:
            del request.session[HALFWAY]
            _sign_in(request, user, way, second)
            return HttpResponseRedirect(onward)
    standing = second_factor.standing(user)
    context = {"problem": problem, "standing": standing, "passkeys": standing.passkeys and passkeys.possible()}
    return render(request, "galleries/second_step.html", context, status=400 if problem else 200)


@open_to_all("it opens to nobody who has not shown password or link in this browser")
@require_POST
def ask_passkey(request: HttpRequest) -> HttpResponseBase:
    """What the browser is to sign by a passkey, as JSON; what was asked stays in the session."""
    halfway = _halfway(request)
    if halfway is None:
        return redirect("sign-in")
    question, state = passkeys.ask(halfway[0])
    asking.keep(request, PASSKEY, state)
    return JsonResponse(question, headers={"Cache-Control": "private, no-store"})


class SecondFactorFirst:
    """Middleware: where the site asks everybody for a second factor, nothing else opens to an account without one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, *_view: object) -> HttpResponseBase | None:
        name = (request.resolver_match.url_name or "") if request.resolver_match else ""
        if not settings.SECOND_FACTOR_REQUIRED or name in BEFORE or name.startswith("second-"):
            return None
        user = user_of(request)
        return None if user is None or second_factor.stands(user) else redirect("second-factor")
