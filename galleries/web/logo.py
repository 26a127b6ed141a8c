"""The studio's logo, for the head of every page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from galleries import storage
from galleries.errors import Missing
from galleries.models import Studio
from galleries.web.doors import open_to_all
from galleries.web.files import FOREVER, send


@open_to_all("the studio's own sign, as on its shop window; it shows nobody")
@require_safe
def logo(request: HttpRequest, digest: str) -> HttpResponseBase:
    """The logo of today, under a name made of its content; another name is nobody's."""
    studio = Studio.current()
    if not digest or digest != studio.logo_digest:
        raise Missing(_("There is no such logo."))
    cache = FOREVER.replace("private", "public")
    return send(request, storage.private(), studio.logo_key, content_type="image/png", etag=digest, cache=cache)
