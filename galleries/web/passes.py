"""A short-lived note of which invites a browser came in by, so that the smallest requests need not read its session.

It is a cookie, signed for this session's key alone: beside another session, or none, it says nothing. It opens nothing
by itself either: whoever believes it asks the database in the same breath whether the session is still there and the
invite still holds (`galleries.web.straight`), so that what is taken back is taken back at the next request.
"""

from __future__ import annotations

from django.conf import settings
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.base import SessionBase
from django.core import signing
from django.http import HttpRequest, HttpResponseBase

from galleries.web.doors import CAME, SEEN_EVERY
from portal.visits import KEY

# No longer than people may go without being noted as seen, which the whole way does.
SECONDS = int(SEEN_EVERY.total_seconds())
MOST = 40  # invites in one; whoever holds more is asked the whole way
SALT = "galleries.pass"

# Of each: the invite, and when this browser came in by it (`doors.CAME`).
Held = list[tuple[int, float]]


def held(request: HttpRequest) -> tuple[str, Held]:
    """The session's key and the invites that the pass beside it names; ('', []) without a pass that holds."""
    given = request.COOKIES.get(settings.PASS_COOKIE_NAME, "")
    key = request.COOKIES.get(settings.SESSION_COOKIE_NAME, "")
    if not given or not KEY.fullmatch(key):
        return "", []
    try:
        invites = signing.loads(given, salt=f"{SALT}.{key}", max_age=SECONDS)
    except signing.BadSignature:
        return "", []
    return key, [(int(pk), float(came)) for pk, came in invites]


def hand_out(request: HttpRequest, response: HttpResponseBase) -> None:
    """Give a browser that came in by invites, and whose session this request read, a pass when it has none (any more).
    Somebody of the studio gets none: they look by their own right."""
    session = getattr(request, "session", None)
    if not isinstance(session, SessionBase) or not session.accessed or session.session_key is None:
        return
    invites = session.get("invites", {})
    if not 0 < len(invites) <= MOST or SESSION_KEY in session:
        return
    came = session.get(CAME, {})
    now_held = [(pk, came.get(str(pk), 0.0)) for pk in invites.values()]
    if held(request) == (session.session_key, now_held):
        return
    response.set_cookie(
        settings.PASS_COOKIE_NAME,
        signing.dumps(now_held, salt=f"{SALT}.{session.session_key}"),
        max_age=SECONDS,
        secure=settings.SECURE,
        httponly=True,
        samesite="Lax",
    )
