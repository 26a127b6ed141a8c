"""One retouched file as the body of a request, its name in a header: the same way in for the studio and a retoucher."""

from __future__ import annotations

from urllib.parse import unquote

from django.http import HttpRequest, JsonResponse
from django.http.request import UnreadablePostError
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Invite, Sitting, Version
from galleries.steps.finishing import versions
from galleries.steps.ingesting import incoming
from galleries.web.studio.upload import MOST_DIGESTS, announced, body_json


def known(request: HttpRequest, sitting: Sitting, **sender: Invite | None) -> JsonResponse:
    """{digests: [...]} → {known: [...]}: the versions and strays that need not be sent again; of one sender (`invite`)
    alone, where one is named.

    Raises:
        BadInput: there is no such list, or too long a one.
    """
    digests = body_json(request).get("digests")
    if not isinstance(digests, list) or len(digests) > MOST_DIGESTS:
        raise BadInput(_("Name up to %d checksums at a time.") % MOST_DIGESTS)
    asked = [str(one).lower() for one in digests]
    kept = Version.objects.filter(final__sitting=sitting, sha256__in=asked, **sender).values_list("sha256", flat=True)
    strays = sitting.strays.filter(sha256__in=asked, **sender).values_list("sha256", flat=True)
    return JsonResponse({"known": sorted({*kept, *strays})})


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
