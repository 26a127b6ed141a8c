"""One retouched file as the body of a request, its name in a header: the same way in for the studio and a retoucher."""

from __future__ import annotations

from urllib.parse import unquote

from django.http import HttpRequest, JsonResponse
from django.http.request import UnreadablePostError
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Sitting
from galleries.steps.finishing import versions
from galleries.steps.ingesting import incoming
from galleries.web.studio.upload import announced


def take(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> tuple[str, versions.Outcome] | JsonResponse:
    """(the file's name, what became of it), or the answer where the body did not come in whole.

    Raises:
        BadInput: the file has no name.
    """
    name = unquote(request.headers.get("X-File-Name", ""))
    if not name:
        raise BadInput(_("The file has no name."))
    try:
        with incoming.arriving(request.read, announced(request)) as arrived:
            return name, versions.add_retouch(sitting, arrived.path, name, visitor)
    except incoming.TooMuch as error:
        return JsonResponse({"state": "refused", "name": name, "reason": str(error)}, status=413)
    except UnreadablePostError:
        return JsonResponse({"error": _("The connection was cut. Send the file again.")}, status=400)
