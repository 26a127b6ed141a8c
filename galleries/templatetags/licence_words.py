"""A use in words: one of the licence's, or the person's own."""

from __future__ import annotations

from django import template

from galleries.models import Delivery
from galleries.papers.licence_fields import USES
from galleries.steps.delivering import package

register = template.Library()


@register.filter
def use_words(use: str) -> str:
    """'poster' → 'posters and paid publicity of a production'; what is no key of the licence's uses stays."""
    return USES.get(use, use)


@register.filter
def has_release(delivery: Delivery) -> bool:
    """Is there a page for the lab in this delivery?"""
    return package.has_release(delivery)
