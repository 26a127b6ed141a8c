"""The certificate that finals are signed with, for whoever holds one and wants to know it again."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from galleries.errors import Missing
from galleries.steps.delivering import certificate
from galleries.web.doors import open_to_all


@open_to_all("it stands in every signed final, names the studio alone and opens nothing; no pictures")
@require_safe
def certificate_file(request: HttpRequest) -> HttpResponseBase:
    """The one in force, with its chain. The key is never read here."""
    one = certificate.current()
    if one is None:
        raise Missing(_("No final has been signed here yet, so there is no certificate."))
    response = HttpResponse(one.chain, content_type="application/x-pem-file")
    response.headers["Content-Disposition"] = 'attachment; filename="certificate.pem"'
    response.headers["Cache-Control"] = "no-cache"
    return response
