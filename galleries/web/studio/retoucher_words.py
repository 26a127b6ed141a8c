"""What the studio reads of its retouchers: which words they accepted, what they fetched, what they sent in."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from galleries.models import Final, Frame, Invite, RetoucherAcceptance, RetoucherReceipt, Sitting, Version
from galleries.steps.finishing import retoucher_terms


def of_invite(person: Invite, sitting: Sitting) -> dict[str, Any]:
    kept_back = sitting.finals.listed().filter(frame__in=Frame.objects.filter(sitting=sitting).kept_back())
    return {
        "acceptances": RetoucherAcceptance.objects.filter(invite=person, sitting=sitting),
        "holds": retoucher_terms.accepted(person, sitting) is not None,
        "receipts": RetoucherReceipt.objects.filter(invite=person, sitting=sitting),
        "versions": Version.objects.filter(invite=person, final__sitting=sitting).select_related("final__frame"),
        "strays": sitting.strays.filter(invite=person),
        "kept_back": kept_back.count(),
    }


def at_work(sitting: Sitting) -> list[Invite]:
    """The retouchers who are let in."""
    return [one for one in sitting.invites.retouchers().select_related("passed_from") if one.holds()]


def waits_for(final: Final, retouchers: list[Invite]) -> str:
    """Who makes the next version of a final: the retouchers who may see it, else the studio itself."""
    names = [] if final.frame.is_kept_back else [one.name for one in retouchers]
    return ", ".join(names) or _("you: retouch it")
