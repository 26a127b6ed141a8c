"""Hours that somebody has to keep, with the zone that they are told in."""

from __future__ import annotations

from datetime import datetime

from django import template
from django.utils.formats import date_format

register = template.Library()


@register.filter(expects_localtime=True)
def with_zone(moment: datetime | None) -> str:
    """Day, hour and the zone's name of the IANA time zone database: whoever reads it may be on another clock than the
    sitting's. '10 March 2027, 18:00 GMT'; a zone that has no letters there is told by its distance, 'UTC-03'."""
    if moment is None:
        return ""
    zone = moment.tzname() or ""
    return f"{date_format(moment, 'DATETIME_FORMAT')} {zone if zone.isalpha() else f'UTC{zone}'}".rstrip()
