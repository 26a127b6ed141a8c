"""One act on several finals at once: all of them or none, each with its own line in the journal."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.errors import BadInput, Conflict
from galleries.models import Final, Sitting
from galleries.steps.finishing import approvals, source_type

S = Final.State


def _chosen(sitting: Sitting, ids: Sequence[int], by: Visitor) -> list[Final]:
    require(by, Act.RUN, sitting, _("Finals are the photographer's to run."))
    finals = list(sitting.finals.listed().filter(pk__in=set(ids)).select_related("frame", "sitting"))
    if not finals or len(finals) != len(set(ids)):
        raise BadInput(_("Choose finals of this sitting's list first."))
    return finals


def deliver_as_it_is(sitting: Sitting, ids: Sequence[int], by: Visitor) -> int:
    """The frames go out as they were taken; how many changed. `undo` takes it back.

    Raises:
        Refused: not this person's to do.
        BadInput: none chosen, or one of another list.
        Conflict: one is approved, or a raw file, which is asked about by itself; then nothing was changed.
    """
    finals = [final for final in _chosen(sitting, ids, by) if final.state != S.AS_IT_IS]
    approved = [final.frame.label for final in finals if final.state == S.APPROVED]
    if approved:
        raise Conflict(
            _("Approved, and so asked about one by one on its own page: %s. Nothing was changed.") % ", ".join(approved)
        )
    raw = [final.frame.label for final in finals if final.frame.is_raw]
    if raw:
        raise Conflict(
            _("Raw files of the camera, and so asked about one by one on their own pages: %s. Nothing was changed.")
            % ", ".join(raw)
        )
    with transaction.atomic():
        for final in finals:
            approvals.deliver_as_it_is(final, by)
    return len(finals)


def undo(sitting: Sitting, ids: Sequence[int], by: Visitor) -> int:
    """Not as they were taken after all, of those that were to be; how many. Raises as `deliver_as_it_is`."""
    finals = [final for final in _chosen(sitting, ids, by) if final.state == S.AS_IT_IS]
    with transaction.atomic():
        for final in finals:
            approvals.take_back(final, by)
    return len(finals)


def declare(sitting: Sitting, ids: Sequence[int], by: Visitor, kind: str) -> int:
    """Say of the newest version of each how it was made; how many have one. Raises as `deliver_as_it_is`."""
    newest = [version for final in _chosen(sitting, ids, by) if (version := final.versions.newest()) is not None]
    if not newest:
        raise BadInput(_("None of these has a retouch yet."))
    with transaction.atomic():
        for version in newest:
            source_type.declare(version, by, kind)
    return len(newest)
