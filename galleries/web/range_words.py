"""The range of a list, and the ways to put a look in order by it, in words that say that they are a reading."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.translation import gettext as _

BANDS = ("serious", "slight", "smiling", "open", "intense")


def range_line(counts: Mapping[str, int]) -> str:
    """Of `steps.sorting.ranges.counted`; '' for no frame."""
    if not any(counts.values()):
        return ""
    line = _(
        "Range of the proposed list: serious %(serious)s, slight smile %(slight)s, smiling %(smiling)s; "
        "open %(open)s, intense %(intense)s. A reading of mouth, brows and lids, and it may err."
    ) % {band: counts.get(band, 0) for band in BANDS}
    unread = counts.get("unread", 0)
    return f"{line} {_('Not read yet, or no face: %d.') % unread}" if unread else line


def orders() -> list[tuple[str, str]]:
    """(code, words) of each order of a look's frames."""
    return [("", _("in the order taken")), ("smile", _("serious to smiling")), ("intensity", _("open to intense"))]


def may_err() -> str:
    return _("The order is a reading of mouth, brows and lids, and it may err. Frames that were not read stand last.")
