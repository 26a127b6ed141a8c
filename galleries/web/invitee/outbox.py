"""What a device has to say of frames, in order: a JSON list of acts, answered one by one."""

from __future__ import annotations

from typing import Any

from django.http import JsonResponse
from django.utils.translation import gettext as _

from galleries import plain_json
from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Sitting
from galleries.models.compiled import Compiled
from galleries.steps.picking import pick

MOST_ACTS = 2000
_ask_change = Compiled(lambda pk: Sitting.objects.filter(pk=pk).order_by().values_list("change", "stage"), by_keys=True)


def read(body: bytes) -> list[dict[str, Any]]:
    """The acts in the body of a request.

    Raises:
        BadInput: no JSON, no list, or too many.
    """
    try:
        acts = plain_json.loads(body, mended=True)
    except ValueError:
        raise BadInput(_("The marks that were sent cannot be read.")) from None
    if not isinstance(acts, list) or len(acts) > MOST_ACTS or not all(isinstance(one, dict) for one in acts):
        raise BadInput(_("Marks are sent as a list of at most %d acts.") % MOST_ACTS)
    return acts


def answer(visitor: Visitor, sitting: Sitting, acts: list[dict[str, Any]]) -> JsonResponse:
    """Do the acts; what became of each, and where the sitting stands."""
    answers = pick.take_acts(visitor, [one for one in acts if _is_number(one.get("frame"))])
    answers += [
        {"act": str(one.get("act", ""))[:40], "error": _("There is no such frame here."), "kind_of_error": "Missing"}
        for one in acts
        if not _is_number(one.get("frame"))
    ]
    ((change, stage),) = _ask_change(sitting.pk)
    return JsonResponse({"answers": answers, "change": change, "stage": stage})


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 < value < 2**63
