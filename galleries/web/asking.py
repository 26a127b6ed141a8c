"""What a page asked a passkey: kept in the session, for one answer within a few minutes."""

from __future__ import annotations

import json
import time
from typing import Any

from django.http import HttpRequest
from django.http.request import RawPostDataException
from django.utils.translation import gettext as _

from galleries.errors import BadInput

SECONDS = 300
LONGEST = 20_000  # characters of an answer; a few thousand are usual


def keep(request: HttpRequest, what: str, state: dict[str, Any]) -> None:
    request.session[what] = {"state": state, "until": time.time() + SECONDS}


def kept(request: HttpRequest, what: str) -> dict[str, Any]:
    """What was asked; it is used up by this.

    Raises:
        BadInput: nothing was, or too long ago.
    """
    asked = request.session.pop(what, None)
    if asked is None or asked["until"] < time.time():
        raise BadInput(_("That took too long. Try again."))
    state: dict[str, Any] = asked["state"]
    return state


def answer(request: HttpRequest) -> dict[str, Any]:
    """The device's answer, which the page's script put into the form."""
    return _object(request.POST.get("answer", ""))


def body(request: HttpRequest) -> dict[str, Any]:
    """JSON, as the page's script sends it.

    Raises:
        BadInput: it is none, or a form.
    """
    try:
        return _object(request.body[: LONGEST + 1].decode(errors="replace"))
    except RawPostDataException:  # a form with files, whose parts were read on the way here
        return _object("")


def _object(text: str) -> dict[str, Any]:
    try:
        fields = json.loads(text) if len(text) <= LONGEST else None
    except (ValueError, RecursionError):
        fields = None
    if not isinstance(fields, dict):
        raise BadInput(_("What your browser sent cannot be read. Load the page again."))
    return fields
