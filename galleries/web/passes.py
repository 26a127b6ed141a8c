"""A short-lived note of which invites a browser came in by, so that the smallest requests need not read its session.

It is a cookie, signed for this session's key alone: beside another session, or none, it says nothing. It opens nothing
by itself either: whoever believes it asks the database in the same breath whether the session is still there and the
invite still holds (`galleries.web.straight`), so that what is taken back is taken back at the next request.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from functools import lru_cache
from typing import Any, NamedTuple

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.auth.models import User
from django.contrib.sessions.backends.base import SessionBase
from django.core import signing
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.middleware.csrf import CsrfViewMiddleware
from django.utils.crypto import constant_time_compare

from galleries.web.doors import CAME, SEEN_EVERY
from portal.visits import KEY

# No longer than people may go without being noted as seen, which the whole way does.
SECONDS = int(SEEN_EVERY.total_seconds())
MOST = 40  # invites in one; whoever holds more is asked the whole way
SALT, STUDIO_SALT = "galleries.pass", "galleries.pass.studio"

# Of each: the invite, and when this browser came in by it (`doors.CAME`).
Held = list[tuple[int, float]]


def held(request: HttpRequest) -> tuple[str, Held]:
    """The session's key and the invites that the pass beside it names; ('', []) without a pass that holds."""
    given = request.COOKIES.get(settings.PASS_COOKIE_NAME, "")
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
    if not given or not KEY.fullmatch(key):
        return "", []
    try:
        invites = _read(given, f"{SALT}.{key}")
    except signing.BadSignature:
        return "", []
    return key, [(int(pk), float(came)) for pk, came in invites]


def _read(given: str, salt: str) -> Any:
    """What was signed.

    Raises:
        signing.BadSignature: not by us, not for this, or longer ago than a pass holds.
    """
    content, signed_at = _signed(given, salt)
    if time.time() > signed_at + SECONDS:
        raise signing.SignatureExpired
    return content


@lru_cache(maxsize=1024)
def _signed(given: str, salt: str) -> tuple[Any, int]:
    """What was signed, and when in seconds since 1970: whether we signed it stays as it is, so a page that asks for
    hundreds of pictures has its pass read once. Raises signing.BadSignature, and nothing is kept then."""
    content = signing.loads(given, salt=salt)
    return content, signing.b62_decode(given.rsplit(":", 2)[1])


def bears_token(request: HttpRequest, view: Callable[..., HttpResponseBase]) -> bool:
    """Whether the form's token is right, by Django's own check, of a request on its way to a view past the middleware
    that asks for it: a pass is sent by the browser, whoever wrote the page."""
    check = CsrfViewMiddleware(lambda _request: HttpResponse())
    check.process_request(request)
    return check.process_view(request, view, (), {}) is None


class Account(NamedTuple):
    """Somebody of the studio, and a digest of what their session was begun under."""

    pk: int
    began: str

    def began_under(self, password: str) -> bool:
        """Is this hash of a password still the one that the session was begun under?"""
        return constant_time_compare(self.began, _began(User(password=password)))


def _began(user: User) -> str:
    """As the framework binds a session to the password; not the very text that the session holds."""
    return hashlib.sha256(user.get_session_auth_hash().encode()).hexdigest()[:32]


def held_account(request: HttpRequest) -> tuple[str, Account | None]:
    """As `held`, of somebody of the studio."""
    given = request.COOKIES.get(settings.PASS_COOKIE_NAME, "")
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
    if not given or not KEY.fullmatch(key):
        return "", None
    try:
        pk, began = _read(given, f"{STUDIO_SALT}.{key}")
    except signing.BadSignature:
        return "", None
    return key, Account(int(pk), str(began))


def hand_out(request: HttpRequest, response: HttpResponseBase) -> None:
    """Give a browser that came in by invites, or is the studio's, and whose session this request read, a pass when it
    has none (any more). Where everybody needs a second factor the studio gets none: at each request it is asked for."""
    session = getattr(request, "session", None)
    if not isinstance(session, SessionBase) or not session.accessed or session.session_key is None:
        return
    if SESSION_KEY in session:
        _hand_out_to_studio(request, response, session.session_key)
        return
    invites = session.get("invites", {})
    if not 0 < len(invites) <= MOST:
        return
    came = session.get(CAME, {})
    now_held = [(pk, came.get(str(pk), 0.0)) for pk in invites.values()]
    if held(request) == (session.session_key, now_held):
        return
    _set(response, signing.dumps(now_held, salt=f"{SALT}.{session.session_key}"))


def _hand_out_to_studio(request: HttpRequest, response: HttpResponseBase, key: str) -> None:
    user = getattr(request, "user", None)
    if (
        settings.SECOND_FACTOR_REQUIRED
        or not isinstance(user, User)
        or not user.is_active
        or response.status_code not in {200, 201}  # a page, or a frame that was kept
    ):
        return
    account = Account(user.pk, _began(user))
    if held_account(request) != (key, account):
        _set(response, signing.dumps(list(account), salt=f"{STUDIO_SALT}.{key}"))


def _set(response: HttpResponseBase, signed: str) -> None:
    response.set_cookie(
        settings.PASS_COOKIE_NAME,
        signed,
        max_age=SECONDS,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )
