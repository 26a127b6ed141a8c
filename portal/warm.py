"""What the first request would else load while others wait: addresses with all their views, catalogues, pages."""

from __future__ import annotations

from importlib import import_module

from django.conf import settings
from django.core.files.storage import storages
from django.db import connection
from django.template import TemplateDoesNotExist
from django.template.loader import get_template
from django.urls import get_resolver
from django.utils import translation

# The pages that many open in the same moment: when a letter went out.
PAGES = ("galleries/invitee/sheet.html", "galleries/invitee/_strip.html", "galleries/invitee/_large.html")


def warm() -> None:
    """Nothing of it asks the database, and what cannot be loaded is left to whoever asks for it."""
    _ = get_resolver().url_patterns
    if connection.vendor == "postgresql":
        import_module("galleries.models.prepared")
    for code, _name in settings.LANGUAGES:
        with translation.override(code):
            translation.gettext("Sheet")
    if settings.FILES == "s3":
        _ = storages["private"].connection  # type: ignore[attr-defined]  # the client of both; nothing is asked of it yet
    for page in PAGES:
        try:
            get_template(page)
        except TemplateDoesNotExist:
            continue
