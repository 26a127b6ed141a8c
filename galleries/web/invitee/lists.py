"""Both lists side by side, what they cover, a proposal with its reasons, and the closing."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from galleries.access import Act, Visitor, may
from galleries.errors import BadInput, Conflict, PriceChanged
from galleries.models import Invite, Proof, Remark, Sitting
from galleries.sorting.shortlist import Proposal
from galleries.steps.agreeing import agree, extras, proposals, statements
from galleries.steps.agreeing.agree import Tally
from galleries.steps.sorting import ranges
from galleries.steps.sorting.readings import readings_of
from galleries.web import extra_words
from galleries.web.doors import invitee_page
from galleries.web.invitee import list_markup, sheet_rows, showing
from galleries.web.invitee.list_markup import Row
from galleries.web.invitee.page import key_in, page
from galleries.web.range_words import range_line
from galleries.words import statements as words_of
from galleries.words.reasons import reason_words


@invitee_page(Act.COMPARE_LISTS)
@require_http_methods(["GET", "HEAD", "POST"])
def lists(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """POST with `sure` closes the list; without it, asks once more and says what is over or missing. Where what was
    seen to be paid does not hold any more, it asks again too."""
    chosen: list[int] | None = None
    changed = ""
    if request.method == "POST":
        chosen = [key for pk in request.POST.getlist("frame") if (key := key_in(pk))]
        if "sure" in request.POST:
            try:
                return _close(request, visitor, sitting, chosen)
            except PriceChanged as error:
                changed = str(error)
                sitting.refresh_from_db(fields=["allowance"])
        if chosen and "sure" not in request.POST and not sitting.is_picking:
            raise Conflict(_("The list was closed meanwhile; it stands below."))
        if not chosen:
            raise BadInput(_("Choose at least one frame before closing the list."))
    return _page(request, visitor, sitting, chosen, changed)


def _close(request: HttpRequest, visitor: Visitor, sitting: Sitting, chosen: list[int]) -> HttpResponseBase:
    finals = agree.close(sitting, chosen, visitor, request.POST.get("seen"))
    messages.success(
        request,
        ngettext("The list is closed with %d final.", "The list is closed with %d finals.", len(finals)) % len(finals),
    )
    return redirect("lists", slug=sitting.slug)


def _page(
    request: HttpRequest, visitor: Visitor, sitting: Sitting, chosen: list[int] | None, changed: str
) -> HttpResponseBase:
    """`chosen`: the frames of the list about to be closed, None while nobody asks to; `changed`: why it is asked
    again."""
    tally, quoted = agree.tally(sitting, visitor), extras.quote(sitting)
    readings = readings_of(sitting)
    proposal = proposals.propose(tally, sitting, readings)
    rows = _rows(sitting, tally, proposal, chosen)
    open_now = may(visitor, Act.CLOSE_LIST, sitting)
    on = {row.line.frame.pk: row for group in rows.values() for row in group}
    spoken = list_markup.Words.here(reverse("sheet", args=[sitting.slug]))
    groups = [
        (key, title, rows[key], list_markup.pairs(rows[key], spoken, open_now=open_now))
        for key, title in _groups(visitor)
        if rows[key]
    ]
    words: dict[str, Any] = {
        "on_list": _("{n} on the list, %d included") % tally.allowance,
        "costs": _("Beyond that: {sum}."),
        "allowance": tally.allowance,
        "extra": showing.extra_for_scripts(visitor, sitting),
    }
    on_it = sum(row.chosen for group in rows.values() for row in group)
    return page(
        request,
        visitor,
        sitting,
        "lists",
        tally=tally,
        groups=groups,
        tray=list_markup.tray(row for _key, _title, group, _pairs in groups for row in group),
        words=words,
        counted=words["on_list"].format(n=on_it),
        costs=extra_words.of_list(quoted, on_it) if open_now else "",
        extra_words=extra_words.terms(quoted) if open_now else [],
        sum_words=extra_words.of_list(quoted, len(chosen)) if chosen is not None else "",
        extra_rows=_extras(on, chosen, quoted.allowance, visitor) if chosen else [],
        seen=quoted.token,
        changed=changed,
        status=409 if changed else 200,
        proposal=proposal,
        range_line=range_line(ranges.counted(readings.places, proposal.chosen)),
        exact=proposal.gap <= 1e-6,
        percent=round(proposal.gap * 100, 1),
        open_now=open_now,
        asking=[on[pk] for pk in chosen if pk in on] if chosen is not None and open_now else None,
        left_out=agree.not_on_list(tally, chosen, sitting, visitor) if chosen else [],
        picks_left_out=_picks_left_out(rows, chosen, _groups(visitor)) if chosen else [],
        hours=sitting.objection_hours if open_now and visitor.invite is not None else 0,
        objection_until=sitting.objection_until,
        objected=sitting.objected_round,
        still_marking=agree.still_marking(sitting) if open_now else [],
        over=max(0, len(chosen) - sitting.allowance) if chosen is not None else 0,
        closed=sitting.rounds.exclude(closed_at=None).order_by("-number").first() if not open_now else None,
        finals=_pictured(agree.listed_for(visitor, sitting)) if not open_now else [],
    )


def _extras(on: dict[int, Row], chosen: list[int], allowance: int, visitor: Visitor) -> list[tuple[str, str]]:
    """(label, whose wish) of what a list of these frames has beyond the allowance."""
    asked = {pk: "both" if row.line.standing == "agreed" else row.line.standing for pk, row in on.items()}
    beyond = statements.beyond([pk for pk in chosen if pk in on], asked, allowance)
    return [(on[pk].line.frame.label, words_of.wish(asked[pk], visitor.name)) for pk in beyond]


def _groups(visitor: Visitor) -> list[tuple[str, str]]:
    """(standing of a line, its head in the reader's words: nobody reads of their own side as of somebody else's)."""
    own = visitor.invite.role if visitor.invite else ""
    mine = _("Only your side picked")
    return [
        ("agreed", _("Both picked")),
        ("subject", mine if own == Invite.Role.SUBJECT else _("Only the subject picked")),
        ("representation", mine if own == Invite.Role.REPRESENTATION else _("Only the representation picked")),
        ("", _("Picked by neither: alternates, strikes and notes")),
    ]


def _picks_left_out(
    rows: dict[str, list[Row]], chosen: list[int], groups: list[tuple[str, str]]
) -> list[tuple[str, list[Row]]]:
    """(whose picks, the lines) that a list of these frames leaves out."""
    on = set(chosen)
    out = [(title, [row for row in rows[key] if row.line.frame.pk not in on]) for key, title in groups if key]
    return [(title, group) for title, group in out if group]


def _pictured(finals: list[Any]) -> list[tuple[Any, Proof | None]]:
    proofs = Proof.objects.newest_of([final.frame_id for final in finals])
    return [(final, proofs.get(final.frame_id)) for final in finals]


def _rows(sitting: Sitting, tally: Tally, proposal: Proposal, chosen: list[int] | None) -> dict[str, list[Row]]:
    proofs = sheet_rows.small_proofs_of(sitting)
    labels = {line.frame.pk: line.frame.label for line in tally.lines}
    ticked = set(proposal.chosen if chosen is None else chosen)
    rows: dict[str, list[Row]] = {key: [] for key in ("agreed", "subject", "representation", "")}
    talk: dict[int, list[Remark]] = {}
    for remark in Remark.objects.filter(frame__sitting=sitting):
        talk.setdefault(remark.frame_id, []).append(remark)
    for line in tally.lines:
        pk = line.frame.pk
        because = proposal.reasons.get(pk) or ((proposal.left_out[pk],) if pk in proposal.left_out else ())
        reasons = [reason_words(reason, labels) for reason in because]
        rows[line.standing].append(Row(line, proofs.get(pk), reasons, pk in ticked, talk.get(pk, [])))
    return rows
