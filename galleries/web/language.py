"""The language of the pages: the person's own choice, kept in a cookie."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponseBase
from django.views.decorators.http import require_POST
from django.views.i18n import set_language

from galleries.web.doors import open_to_all


@open_to_all("it changes nothing but the caller's own language")
@require_POST
def language(request: HttpRequest) -> HttpResponseBase:
    return set_language(request)
