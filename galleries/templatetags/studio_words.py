"""Words for numbers of the trade."""

from __future__ import annotations

from django import template
from django.utils.formats import number_format

from galleries.words.told import stored

register = template.Library()


@register.filter
def megabytes(count: int) -> str:
    """Bytes as decimal MB, as upload pages count them: 500000 is '0.5 MB'."""
    whole = count / 1_000_000
    decimals = 0 if whole == int(whole) or whole >= 100 else 1 if whole >= 1 or (count % 100_000) == 0 else 2
    return f"{number_format(whole, decimals)} MB"


@register.filter
def spoken(kept: list[object]) -> str:
    """What a row holds by code and values, in the reader's sentences."""
    return " ".join(stored(one) for one in kept)
