"""A slip on every page that sends letters, where they do not reach anybody."""

from __future__ import annotations

from typing import Any

from django import template
from django.conf import settings

from galleries.steps.people import mail
from galleries.web.studio import letter_words

register = template.Library()


@register.inclusion_tag("galleries/studio/_mail_note.html", takes_context=True)
def mail_note(context: template.Context) -> dict[str, Any]:
    """Nothing where mail is set up and the address in the links leads other people here."""
    return {
        "sitting": context.get("sitting"),
        "page": context.get("page"),
        "where": "" if mail.goes_out() else letter_words.where_letters_lie(),
        "only_here": settings.BASE_URL if mail.is_this_machine(settings.BASE_URL) else "",
    }
