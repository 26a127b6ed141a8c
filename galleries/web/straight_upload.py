"""The straight way of a frame that the studio's uploader sends: who asks is one question, where session, account and
their row on the list are three, and the middleware that reads them is passed by.

As beside it (`galleries.web.straight`) it only says yes to who it is, and only with the form's token: session, list,
account and password are asked as they are now. Whose sitting it is, and all else, is the view's own to ask, behind its
own door. Nothing of the body is read before that, so that what this is not sure of goes the whole way with all of it.
"""

from __future__ import annotations

import re

from django.conf import settings
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db.models import Exists, OuterRef, QuerySet
from django.db.models.functions import Now
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils import translation

from galleries.models import StudioSession
from galleries.models.compiled import CompiledRows
from galleries.steps.people.invite import hash_of
from galleries.web import passes
from galleries.web.doors import wants_json
from galleries.web.errors import DomainErrors
from galleries.web.studio import upload

FILE = re.compile(r"/studio/([-a-zA-Z0-9_]{1,60})/upload/file")


def _standing(key: str, key_hash: str, account: int) -> QuerySet[User]:
    """The account, while it is active and its session stands in both tables."""
    stands = Exists(Session.objects.filter(session_key=key, expire_date__gt=Now()))
    listed = Exists(StudioSession.objects.filter(key_hash=key_hash, account=OuterRef("pk")))
    return User.objects.filter(stands, listed, pk=account, is_active=True).order_by()


_ask_account = CompiledRows(_standing, by_keys=True)


def claim_of(request: HttpRequest) -> tuple[str, passes.Account] | None:
    """The session's key and whom its pass names, of a request that may come this way; the database is not asked."""
    key, account = passes.held_account(request)
    if account is None or settings.SECOND_FACTOR_REQUIRED or not wants_json(request):
        return None
    if upload.announced(request) > settings.MAX_FRAME_BYTES:
        return None
    return (key, account) if passes.bears_token(request, upload.put_file) else None


def sender(key: str, account: passes.Account) -> User | None:
    """The account, where all that the pass says is still so. Raises what the database raises."""
    user = _ask_account.first(key, hash_of(key), account.pk)
    return user if user is not None and account.began_under(user.password) else None


def answer(request: HttpRequest, slug: str, user: User) -> HttpResponseBase:
    """What the view answers, and of its refusals what the middleware makes of them."""
    request.user = user
    with translation.override(translation.get_language_from_request(request)):
        try:
            return upload.put_file(request, slug=slug)
        except Exception as error:
            refusal = DomainErrors(lambda _request: HttpResponse()).process_exception(request, error)
            if refusal is None:
                raise
            return refusal
