"""How much anybody may send before somebody has looked at who they are."""

from __future__ import annotations

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

# A reference picture of 30 MB, the largest thing an invitee may send in a form, and its envelope.
WITHOUT_SIGN_IN = 32_000_000
# Where a retoucher sends a version: not read before the door has asked for their invite, and never as a form.
BY_INVITE = re.compile(r"^/s/[-a-zA-Z0-9_]+/retouch/file$")
ENVELOPE = 1_000_000


class BodyLimit:
    """413 by the announced length, before a byte is read.

    Django writes the files of a form to the disk while it looks for the form's token, that is before any view asks
    for permission; a body without an announced length is not read by it at all.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        length = _announced(request)
        if length > WITHOUT_SIGN_IN and (
            length > settings.MAX_FRAME_BYTES + ENVELOPE
            or not (request.user.is_authenticated or (request.method == "PUT" and BY_INVITE.match(request.path_info)))
        ):
            return HttpResponse("That is more than can be sent here.\n", status=413, content_type="text/plain")
        return self.get_response(request)


def _announced(request: HttpRequest) -> int:
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0
