"""What the program still has to do for a sitting, what failed and why, and a way to ask for it again."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.db.models import Count, Min
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Delivery, Frame, Job, Letter, Sitting, Version
from galleries.steps.keeping import unfinished
from galleries.web.doors import studio_page
from galleries.words.told import stored

MOST = 200
KINDS = {
    "arrival": gettext_noop("File that came in"),
    "proof": gettext_noop("Stamped proof"),
    "slate": gettext_noop("Frame looked at for a slate"),
    "place": gettext_noop("Frame brought into its sitting"),
    "develop": gettext_noop("Raw file developed for 100 %"),
    "sort": gettext_noop("Sorting into looks and runs"),
    "version": gettext_noop("Preview of a retouch"),
    "delivery": gettext_noop("Delivery"),
    "letter": gettext_noop("Letter to somebody"),
    "own copy": gettext_noop("Copy for the subject"),
}


@studio_page()
@require_safe
def work_page(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    context = {
        "sitting": sitting,
        "page": "studio-work",
        "failed": _failed(sitting),
        "waiting": _waiting(sitting),
    }
    return render(request, "galleries/studio/work.html", context)


@studio_page()
@require_POST
def work_again(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """job=number, or nothing for all that failed or is held back."""
    given = request.POST.get("job", "")
    if given and not given.isdecimal():
        raise BadInput(_("Which piece of work is meant?"))
    count = unfinished.try_again(sitting, visitor, int(given) if given else None)
    messages.success(
        request, ngettext("%d piece of work is tried again.", "%d pieces of work are tried again.", count) % count
    )
    return redirect("studio-work", slug=sitting.slug)


def _word(kind: str) -> str:
    return _(KINDS[kind]) if kind in KINDS else kind


def _failed(sitting: Sitting) -> list[dict[str, Any]]:
    jobs = list(sitting.jobs.filter(state=Job.State.FAILED).order_by("-pk")[:MOST])
    names = _names(jobs)
    return [{"job": job, "what": _word(job.kind), "which": names.get((job.kind, job.thing), "")} for job in jobs]


def _names(jobs: list[Job]) -> dict[tuple[str, int], str]:
    """(kind, thing) → what a person calls it; one query for each kind."""
    of = {kind: [job.thing for job in jobs if job.kind == kind] for kind in {job.kind for job in jobs}}
    frames = Frame.objects.in_bulk(of.get("proof", []))
    versions = Version.objects.select_related("final__frame").in_bulk(of.get("version", []))
    deliveries = Delivery.objects.in_bulk(of.get("delivery", []))
    letters = Letter.objects.in_bulk(of.get("letter", []))
    return {
        **{("proof", pk): frame.label for pk, frame in frames.items()},
        **{("version", pk): f"{one.final.frame.label} v{one.number}" for pk, one in versions.items()},
        **{("delivery", pk): str(one.number) for pk, one in deliveries.items()},
        **{("letter", pk): one.to for pk, one in letters.items()},
    }


def _waiting(sitting: Sitting) -> list[dict[str, Any]]:
    """By kind and reason: how many, and when what is held back is tried again."""
    unfinished_ones = sitting.jobs.filter(state__in=[Job.State.WAITING, Job.State.RUNNING]).order_by()
    rows = unfinished_ones.values("kind", "state", "reason").annotate(n=Count("pk"), next=Min("not_before"))
    return [
        {
            "what": _word(row["kind"]),
            "state": Job.State(row["state"]).label,
            "count": row["n"],
            "why": stored(row["reason"]),
            "next": row["next"] if row["state"] == Job.State.WAITING else None,
        }
        for row in sorted(rows, key=lambda row: (row["kind"], row["state"]))
    ]
