"""One retouched file as the body of a request, its name in a header: the same way in for the studio and a retoucher."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse
from django.utils.translation import gettext as _

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Invite, Sitting, Version
from galleries.steps.finishing import versions
from galleries.web.studio.upload import MOST_DIGESTS, body_json, whole_file


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
    return whole_file(
        request, lambda arrived, name, digest: versions.add_retouch(sitting, arrived, name, visitor, digest=digest)
    )
