"""Work that failed, or that waits for something out of reach: asked for again by the photographer."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from galleries.access import Act, Visitor, require
from galleries.models import Delivery, Job, JournalLine, Sitting, Verb
from galleries.steps import jobs
from galleries.steps.delivering import offer


def try_again(sitting: Sitting, by: Visitor, job_id: int | None = None) -> int:
    """List the failed work of a sitting anew, and let go what is held back; or one piece alone. Returns how many.

    Raises:
        Refused: not this person's to do.
    """
    require(by, Act.RUN, sitting, _("Work is the photographer's to ask for again."))
    chosen = sitting.jobs.filter(state__in=[Job.State.FAILED, Job.State.WAITING])
    chosen = chosen.exclude(state=Job.State.WAITING, not_before=None)
    if job_id is not None:
        chosen = chosen.filter(pk=job_id)
    with transaction.atomic():
        pieces = list(chosen.select_related("sitting").order_by("pk"))
        for job in pieces:
            _again(sitting, job, by)
        if pieces:
            JournalLine.write(sitting, by.who, Verb.WORK_ASKED_FOR_AGAIN, f"{len(pieces)}", kinds=_kinds(pieces))
    return len(pieces)


def _again(sitting: Sitting, job: Job, by: Visitor) -> None:
    given_up = job.state == Job.State.FAILED and job.kind == "delivery"
    delivery = sitting.deliveries.filter(pk=job.thing).first() if given_up else None
    if delivery is not None and delivery.state == Delivery.State.FAILED:
        offer.try_again(delivery, by)
    else:
        jobs.ask_again(job)


def _kinds(pieces: list[Job]) -> list[str]:
    return sorted({job.kind for job in pieces})
