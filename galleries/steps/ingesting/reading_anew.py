"""Frames that an earlier release read, read anew by the photographer's word: what it did not read yet is then known."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from galleries import stages
from galleries.access import Act, Visitor, require
from galleries.models import Job, JournalLine, Sitting, Verb
from galleries.steps import derived, jobs
from galleries.steps.ingesting import proof

OPEN = (Job.State.WAITING, Job.State.RUNNING)


def read_anew(sitting: Sitting, by: Visitor) -> int:
    """List them for the worker; returns how many. What is listed already is not listed twice.

    Raises:
        Refused: only the photographer does.
    """
    require(by, Act.RUN, sitting, _("Frames are read anew when the photographer asks for it."))
    with transaction.atomic():
        older = list(proof.read_by_an_older_reader(sitting.frames.all()).values_list("pk", flat=True))
        listed = set(_open_jobs(sitting).values_list("thing", flat=True))
        wanted = [pk for pk in older if pk not in listed]
        for pk in wanted:
            jobs.enqueue("proof", pk, sitting, recipe=derived.stamp_recipe(), again=True)
        if wanted:
            stages.touch(sitting)
            JournalLine.write(sitting, by.who, Verb.WORK_ASKED_FOR_AGAIN, f"{len(wanted)}", kinds=["proof"])
    return len(wanted)


def older_readings(sitting: Sitting) -> tuple[int, int]:
    """How many frames an earlier release read, and how many of them are being read anew."""
    older = proof.read_by_an_older_reader(sitting.frames.all())
    count = older.count()
    return count, older.filter(pk__in=_open_jobs(sitting).values("thing")).count() if count else 0


def _open_jobs(sitting: Sitting) -> QuerySet[Job]:
    return sitting.jobs.filter(kind="proof", state__in=OPEN)
