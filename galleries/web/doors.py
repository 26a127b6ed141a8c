"""How a request becomes a visitor, and how each view declares what it lets in.

Every view of the product carries one of the decorators below; a test walks the URL map and fails on one without.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import wraps
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.contrib.auth.models import User
from django.core.cache import cache
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from galleries import access
from galleries.access import Act, Visitor
from galleries.errors import Refused, TooOften
from galleries.models import Invite, Sitting
from galleries.models.compiled import CompiledRows

log = logging.getLogger(__name__)
SEEN_EVERY = timedelta(minutes=5)
TRIES_SECONDS = 60
CAME = "came"  # in the session: invite → when this browser came in by it, in seconds since 1970


def wants_json(request: HttpRequest) -> bool:
    return request.headers.get("Accept", "").startswith("application/json")


def user_of(request: HttpRequest) -> User | None:
    return request.user if request.user.is_authenticated else None


def invite_for(request: HttpRequest, sitting_id: int) -> Invite | None:
    """The invite by which this browser came into that sitting, while it holds."""
    pk = request.session.get("invites", {}).get(str(sitting_id))
    if pk is None:
        return None
    invite = _ask_invite.first(int(pk))
    if invite is None or invite.sitting_id != sitting_id or not lets_in(request, invite):
        return None
    _seen([invite])
    return invite


_ask_invite = CompiledRows(
    lambda pk: Invite.objects.select_related("passed_from").filter(pk=pk).order_by(), by_keys=True
)


def lets_in(request: HttpRequest, invite: Invite) -> bool:
    """As `still_in`, of the browser that asks."""
    return still_in(invite, request.session.get(CAME, {}).get(str(invite.pk), 0.0))


def still_in(invite: Invite, came: float) -> bool:
    """Does the invite, by which a browser came in then, still hold, and were its sessions not ended since?"""
    return invite.holds() and (invite.shut_before is None or came >= invite.shut_before.timestamp())


def invites_held(request: HttpRequest, sitting_ids: Iterable[int]) -> dict[int, Invite]:
    """sitting → the invite by which this browser came into it, for all of these at once; as `invite_for`."""
    came_in = request.session.get("invites", {})
    pks = {pk: sitting_id for sitting_id in sitting_ids if (pk := came_in.get(str(sitting_id))) is not None}
    invites = Invite.objects.select_related("passed_from").filter(pk__in=list(pks))
    held = {one.sitting_id: one for one in invites if pks[one.pk] == one.sitting_id and lets_in(request, one)}
    _seen(held.values())
    return held


def _seen(invites: Iterable[Invite]) -> None:
    """Note that these people were here, at most once in five minutes. It is all that a page writes that is only looked
    at; fetching a file and opening a link write more (tests/web/test_looking.py walks every address)."""
    now = timezone.now()
    late = [one.pk for one in invites if one.last_seen_at is None or one.last_seen_at < now - SEEN_EVERY]
    if late:
        Invite.objects.filter(pk__in=late).update(last_seen_at=now)


def invitee(request: HttpRequest, slug: str) -> Visitor:
    """The visitor of an invitee's page: by invite. A photographer without one comes as themselves, to look."""
    return _visitor_of(request, access.sitting_at(slug))


def _visitor_of(request: HttpRequest, sitting: Sitting) -> Visitor:
    invite = invite_for(request, sitting.pk)
    return Visitor(invite=invite) if invite is not None else Visitor(user=user_of(request))


def either(request: HttpRequest, sitting_id: int) -> Visitor:
    """For pictures, which stand on both kinds of page: the photographer's right if there is one, else the invite's."""
    user = user_of(request)
    if user is not None:
        sitting = Sitting.objects.filter(pk=sitting_id).first()
        if sitting is not None and access.runs(user, sitting):
            return Visitor(user=user)
    return Visitor(invite=invite_for(request, sitting_id))


def studio_page(act: Act = Act.RUN) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """A page of the studio: signed in and running the sitting; the view gets (request, visitor, sitting)."""

    def wrap(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, slug: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
            user = user_of(request)
            if user is None:
                return _to_the_entrance(request)
            visitor = Visitor(user=user)
            sitting = access.sitting_for(visitor, act, slug)
            return view(request, visitor, sitting, *args, **kwargs)

        guarded.guard = act  # type: ignore[attr-defined]
        return guarded

    return wrap


def invitee_page(act: Act) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """A page of somebody invited, at /s/<slug>/…; the view gets (request, visitor, sitting)."""

    def wrap(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        def guarded(request: HttpRequest, slug: str, *args: Any, **kwargs: Any) -> HttpResponseBase:
            sitting = access.sitting_at(slug)
            visitor = _visitor_of(request, sitting)
            access.require(visitor, act, sitting)
            return view(request, visitor, sitting, *args, **kwargs)

        guarded.guard = act  # type: ignore[attr-defined]
        return guarded

    return wrap


def signed_in(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A page of the studio that belongs to no one sitting; the view gets (request, user)."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        user = user_of(request)
        if user is None:
            return _to_the_entrance(request)
        return view(request, user, *args, **kwargs)

    guarded.guard = "account"  # type: ignore[attr-defined]
    return guarded


def _to_the_entrance(request: HttpRequest) -> HttpResponseBase:
    """A page is led to the sign-in and back; a script that asks for JSON keeps what it holds and is told.

    Raises:
        Refused: JSON was asked for.
    """
    if wants_json(request):
        raise Refused(_("You are signed out. Sign in again, and do this once more."))
    return redirect(f"/sign-in?next={quote(request.path)}")


def open_to_all(why: str) -> Callable[[Callable[..., HttpResponseBase]], Callable[..., HttpResponseBase]]:
    """A page that needs no permission, and why not."""

    def wrap(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
        view.guard = f"open: {why}"  # type: ignore[attr-defined]
        return view

    return wrap


def guarded_inside(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A view that loads its thing through `access.*_for` itself (pictures, single frames, marks)."""
    view.guard = "inside"  # type: ignore[attr-defined]
    return view


def address_of(request: HttpRequest) -> str:
    """Where the request came from; a proxy's header counts only behind our own proxy."""
    if settings.BEHIND_PROXY:
        forwarded = request.headers.get("X-Forwarded-For", "")
        if forwarded:
            return forwarded.rsplit(",", 1)[-1].strip()
    return str(request.META.get("REMOTE_ADDR", ""))


def count_try(request: HttpRequest, door: str, whose: str = "") -> None:
    """Count a try at a door. Where something short can be guessed, call it before the try is looked at: a right
    guess among too many must not open either.

    `whose` counts for a person instead of an address.

    Raises:
        TooOften: too many from this address (or by this person) in the last minute.
    """
    key = f"tries:{door}:{whose or address_of(request)}"
    try:
        cache.add(key, 0, TRIES_SECONDS)
        tries = cache.incr(key)
    except Exception as error:  # noqa: BLE001 - without the cache nobody is counted, but nobody is locked out either
        log.warning("Tries at the door are not counted: %s", error)
        return
    if tries > settings.DOOR_TRIES:
        raise TooOften(_("Too many tries. Wait a minute and try again."), TRIES_SECONDS)
