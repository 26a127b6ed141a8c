"""Too few pixels in a line: 'Headshot print 8×10 in (125 of 240 ppi)', as the studio's pages list it."""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from galleries.imaging.codes import Code
from galleries.models import Final
from galleries.steps.delivering.pixels import Shortage


def line(short: Iterable[Shortage]) -> str:
    """All sizes that one picture is too small for."""
    return ", ".join(f"{one.size.shown_title} ({_lack(one)})" for one in short)


def lines(shortages: dict[Final, list[Shortage]]) -> list[tuple[str, str]]:
    """(label of the frame, its sizes) of each final."""
    return [(final.frame.label, line(short)) for final, short in shortages.items()]


def _lack(one: Shortage) -> str:
    data = one.told.data
    if one.told.code == Code.FEW_PPI:
        return _("%(has)s of %(least)s ppi") % {"has": data["print_ppi"], "least": data["least_ppi"]}
    return _("enlarged %(times)s times") % {
        "times": number_format(float(data["enlarged_times"] or 0), 2, use_l10n=True)
    }
