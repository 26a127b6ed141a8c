"""Both people's marks side by side; the list is closed, reopened, and handed to the editor."""

from __future__ import annotations

import json

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from galleries.access import Visitor
from galleries.errors import Missing
from galleries.models import Final, Sitting
from galleries.sorting import shortlist
from galleries.steps.agreeing import agree, extras, objection, proposals, sidecars, statements
from galleries.steps.sorting import ranges
from galleries.steps.sorting.readings import Readings, readings_of
from galleries.web import extra_words
from galleries.web.addresses import view_picture
from galleries.web.doors import studio_page
from galleries.web.news import news
from galleries.web.range_words import range_line
from galleries.web.studio import letter_words, list_markup
from galleries.web.studio.desk_data import small_sizes
from galleries.web.studio.forms import whole
from galleries.web.studio.list_markup import Row
from galleries.web.studio.sittings import text_file
from galleries.words import money
from galleries.words.reasons import reason_words

OPEN = (Sitting.Stage.PROOFING, Sitting.Stage.AGREEING)
STANDINGS = ("agreed", "subject", "representation", "")


@studio_page()
@require_safe
def lists(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    tally = agree.tally(sitting, visitor)
    finals, quoted = agree.listed(sitting), extras.quote(sitting)
    sizes = small_sizes(sitting)
    kept = {final.frame_id for final in finals}
    is_open = sitting.stage in OPEN
    readings = readings_of(sitting) if is_open else Readings()
    proposal = proposals.propose(tally, sitting, readings) if is_open else None
    reasons = _reasons(tally, proposal)
    chosen = set(proposal.chosen) if proposal else kept
    words = list_markup.Words.here()
    sections = []
    for standing in STANDINGS:
        lines = [Row(one, sizes.get(one.frame.pk), one.frame.pk in chosen, reasons.get(one.frame.pk, ()))
                 for one in tally.of(standing)]  # fmt: skip
        items = list_markup.items(lines, words, is_open=is_open)
        sections.append({"standing": standing, "title": _titles()[standing], "count": len(lines), "rows": items})
    context = {
        "sitting": sitting,
        "page": "studio-lists",
        "tally": tally,
        "sections": [section for section in sections if section["count"] or section["standing"] == "agreed"],
        "is_open": is_open,
        "range_line": range_line(ranges.counted(readings.places, proposal.chosen)) if proposal else "",
        "proposed": len(proposal.chosen) if proposal else 0,
        "finals": [
            {"final": final, "small": view_picture(final.frame_id, as_on_desk=True) if final.frame_id in sizes else ""}
            for final in finals
        ],
        "rounds": sitting.rounds.all(),
        "pickers": [one for one in sitting.invites.sides() if one.holds()],
        "extra_words": extra_words.terms(quoted) if is_open else [],
        "uncounted": extras.uncounted_words(sitting, quoted.price.currency) if is_open and quoted.price else "",
        "price": json.dumps(money.for_scripts(quoted.price)) if quoted.price is not None else "",
        "seen": quoted.token,
        "statement": statements.standing(sitting),
        "can_reopen": sitting.stage in {Sitting.Stage.FINISHING, Sitting.Stage.DELIVERED},
    }
    return render(request, "galleries/studio/lists.html", context)


@studio_page()
@require_safe
def list_news(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """204 while nothing changed since `?since=`; else the cursor of now."""
    return news(request, sitting, lambda: {"change": sitting.change})


def _titles() -> dict[str, str]:
    return {
        "agreed": _("Both pick these"),
        "subject": _("Only the subject picks these"),
        "representation": _("Only the representation picks these"),
        "": _("Alternates, strikes and notes"),
    }


def _reasons(tally: agree.Tally, proposal: shortlist.Proposal | None) -> dict[int, list[str]]:
    """Why the program proposes a frame, or leaves one out that both picked; the section says the rest."""
    if proposal is None:
        return {}
    labels = {line.frame.pk: line.frame.label for line in tally.lines}
    plain = {"both", "subject", "representation"}
    words = {
        pk: [reason_words(reason, labels) for reason in reasons if reason.code not in plain]
        for pk, reasons in proposal.reasons.items()
    }
    return words | {pk: [reason_words(reason, labels)] for pk, reason in proposal.left_out.items()}


@studio_page()
@require_POST
def close(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    ids = [whole(pk, _("frame")) for pk in request.POST.getlist("frame")]
    finals = agree.close(sitting, ids, visitor, request.POST.get("seen"))
    messages.success(request, _("The list is closed with %d frames.") % len(finals))
    letter_words.warn(request)
    return redirect("studio-lists", slug=sitting.slug)


@studio_page()
@require_POST
def reopen(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    agree.reopen(sitting, visitor, request.POST.get("reason", ""))
    messages.success(request, _("The list is open again; the reason is in the journal."))
    return redirect("studio-lists", slug=sitting.slug)


@studio_page()
@require_POST
def end_objection(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    objection.end_time(sitting, visitor)
    messages.success(request, _("The time to object is over; the list holds."))
    return redirect("studio-lists", slug=sitting.slug)


def _listed(sitting: Sitting) -> list[Final]:
    finals = agree.listed(sitting)
    if not finals:
        raise Missing(_("There is no agreed list yet."))
    return finals


@studio_page()
@require_safe
def agreed_file(request: HttpRequest, visitor: Visitor, sitting: Sitting, kind: str) -> HttpResponseBase:
    """The agreed list for the editor: txt, names (no endings), csv or sidecars."""
    finals, name = _listed(sitting), f"agreed-{sitting.slug}"
    if kind == "txt":
        return text_file(f"{name}.txt", agree.as_text(finals))
    if kind == "names":
        return text_file(f"{name}-names.txt", agree.as_text(finals, endings=False))
    if kind == "csv":
        return text_file(f"{name}.csv", agree.as_csv(finals), "text/csv; charset=utf-8")
    if kind == "sidecars":
        response = HttpResponse(sidecars.as_zip(finals), content_type="application/zip")
        response.headers["Content-Disposition"] = f'attachment; filename="{name}-sidecars.zip"'
        response.headers["Cache-Control"] = "private, no-store"
        return response
    raise Missing(_("The agreed list comes as txt, names, csv or sidecars."))
