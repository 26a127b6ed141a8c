"""What a template asks about the papers of a delivery."""

from __future__ import annotations

from django import template

from galleries.models import Delivery
from galleries.steps.delivering import package

register = template.Library()


@register.filter
def has_release(delivery: Delivery) -> bool:
    """Is there a page for the lab in this delivery?"""
    return package.has_release(delivery)
