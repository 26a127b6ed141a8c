"""The sheet: frames by look, marks taken and given, the talk about a frame, and 'I am through'."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import msgspec
from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import translation
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from galleries import access
from galleries.access import Act, Visitor, frame_for, looks_shown_to, may, require, why_not
from galleries.errors import BadInput, Missing, Refused
from galleries.models import Mark, Sitting
from galleries.sorting.expression import in_order
from galleries.steps.agreeing import extras
from galleries.steps.picking import kept, pick
from galleries.steps.sorting import ranges
from galleries.web import extra_words
from galleries.web.compressed import compressed_page
from galleries.web.doors import guarded_inside, invitee, invitee_page, wants_json
from galleries.web.invitee import marks_of_all, outbox, sheet_page, showing, talk, without_network
from galleries.web.invitee import strips as strips_of_sheet
from galleries.web.invitee.markup import asked_first
from galleries.web.invitee.page import key_in, zone_of
from galleries.web.invitee.shown import Strip, script_frames
from galleries.web.invitee.words import allowance_said, words_in
from galleries.web.json_blocks import block
from galleries.web.news import news

Stage = Sitting.Stage
START = {
    Stage.PLANNING: "plan",
    Stage.PROOFING: "sheet",
    Stage.AGREEING: "sheet",
    Stage.FINISHING: "finals",
    Stage.DELIVERED: "delivery",
}


@guarded_inside
@require_safe
def sitting(request: HttpRequest, slug: str) -> HttpResponseBase:
    """Where the sitting stands now, for whoever comes in by their link."""
    visitor = invitee(request, slug)
    sitting = Sitting.objects.filter(slug=slug).first()
    if sitting is None or not access.belongs(visitor, sitting):
        raise Missing(_("There is no such sitting, or your link does not lead to it."))
    where = START.get(Stage(sitting.stage))
    if may(visitor, Act.OBJECT, sitting):
        where = "objection"
    if visitor.invite is not None and visitor.invite.role == "recipient" and where is not None:
        where = "delivery"
    if visitor.invite is not None and visitor.invite.is_retoucher:
        require(visitor, Act.SEE_RETOUCHING, sitting)
        where = "retouching"
    if where is None and sitting.own_copies.let_go().filter(invite=visitor.invite).exists():
        where = "own-copy"  # all that an archived sitting still has for them
    if where is None:
        raise Refused(why_not(visitor, Act.SEE_SHEET, sitting))
    return redirect(where, slug=slug)


@compressed_page
@invitee_page(Act.SEE_SHEET)
@require_safe
def sheet(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    marks = marks_of_all.marks_for(visitor, sitting)
    shown = showing.sheet_of(visitor, sitting, marks)
    strips, layout = shown.strips, shown.layout
    order = request.GET.get("order", "")
    order = order if order in {"smile", "intensity"} else ""
    if order:
        strips = _put_in_order(strips, sitting, order)
    language, invite = translation.get_language() or "", visitor.invite
    words, quoted = words_in(language), extras.quote(sitting)
    count, chooses = shown.known.counted(sitting), invite is not None and invite.is_side
    choosing = sitting.stage in {Stage.PROOFING, Stage.AGREEING}
    others = marks.others(layout.look_of) if marks is not None else None
    state = showing.state(visitor, sitting, shown.known, quoted, others=others)
    if marks is not None:
        state["change"] = marks.change
    # A page that stands again with a sentence on top does not go on by itself to another.
    whole = "whole" in request.GET or hasattr(request, "stands_again")
    cells = strips_of_sheet.cells_of([strip.many for strip in strips], whole=whole)
    whole_address = f"{reverse('sheet', args=[sitting.slug])}?{'order=' + order + '&' if order else ''}whole=1"
    of_visitor = sheet_page.of_visitor(visitor, sitting)
    values = sheet_page.OfSheet(
        **of_visitor,
        strips=sheet_page.of_strips(strips),
        allowance=count.allowance,
        extra_words=tuple(extra_words.terms(quoted)) if chooses else (),
        **sheet_page.of_round(
            None if choosing else sitting.rounds.exclude(closed_at=None).order_by("-number").first(),
            sitting.objected_round,
        ),
        kept_back=_kept_back(visitor, sitting) if layout.keeps else 0,
        pending=layout.pending,
        order=order,
        whole=whole,
        whole_address=whole_address if sum(cells) < sum(strip.many for strip in strips) else "",
    )
    sections = strips_of_sheet.sections(
        strips,
        cells,
        language,
        invite.role if invite else None,
        slug=sitting.slug,
        person=invite is not None,
        marking=values.may_mark,
        choosing=values.may_choose_looks,
        whole_address=whole_address,
    )
    frames = block("frames", script_frames(one for strip in strips for one in strip.film.frames)) if order else None
    fresh = {
        "allowance_said": allowance_said(words, count, choosing=choosing) if chooses else "",
        "data_blocks": _data_blocks(frames or layout.block, state, language, config(visitor, sitting)),
    }
    with zone_of(sitting):
        answer = sheet_page.kept.answer(request, values, fresh, {"sections": list(sections)})
    answer.headers["Link"] = asked_first(one for strip in strips for one in strip.film.frames)
    return answer


def _data_blocks(frames: SafeString, state: dict[str, Any], language: str, addresses: dict[str, Any]) -> SafeString:
    """What the scripts are told, each in a block of its own."""
    blocks = [frames, block("state", state), _words_block(language), block("config", addresses)]
    return mark_safe("\n".join(blocks))  # noqa: S308  # nosec B308 B703


@lru_cache(maxsize=8)
def _words_block(language: str) -> SafeString:
    return block("words", words_in(language))


def _put_in_order(strips: list[Strip], sitting: Sitting, by: str) -> list[Strip]:
    """Each look by the range that was read."""
    told = ranges.places_of(sitting)
    ordered = []
    for strip in strips:
        frames = {one.frame.pk: one for one in strip.film.frames}
        film = replace(strip.film, frames=[frames[pk] for pk in in_order(list(frames), told, by)])
        ordered.append(replace(strip, film=film))
    return ordered


def _kept_back(visitor: Visitor, sitting: Sitting) -> int:
    """How many frames the subject keeps back and can let go."""
    return sum(len(row.frames) for row in kept.held(visitor, sitting)) if may(visitor, Act.LET_GO, sitting) else 0


def config(visitor: Visitor, sitting: Sitting) -> dict[str, Any]:
    """Addresses and the person, for the scripts."""
    invite = visitor.invite
    return {
        **without_network.device(visitor, sitting),
        **_addresses(sitting.slug),
        "side": invite.role if invite else "",
        "may_mark": may(visitor, Act.MARK, sitting),
        "why_not": why_not(visitor, Act.MARK, sitting),
        "chooses": invite is not None and invite.is_side,
        # A frame that goes from the subject's sheet was hidden by the studio; from another's, perhaps by the subject.
        "hears_why": invite is None or invite.is_subject,
        "sitting": sitting.slug,
        "zone": sitting.time_zone,
    }


@lru_cache(maxsize=512)
def _addresses(slug: str) -> dict[str, str]:
    return {
        "again": reverse("ask-link"),
        "done": reverse("done", args=[slug]),
        "marks": reverse("marks", args=[slug]),
        "changes": reverse("changes", args=[slug]),
        "frame": reverse("remarks", args=[slug, 0]),
        "compare": reverse("compare", args=[slug]),
        "picture": reverse("proof-picture", args=[0, "large", 1]),
    }


@invitee_page(Act.SEE_SHEET)
@require_http_methods(["GET", "HEAD", "POST"])
def marks(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """POST: what a device has to say, in order (JSON list), or one press of a button without scripts. GET: all."""
    if request.method != "POST":
        return JsonResponse(showing.state(visitor, sitting))
    if request.content_type != "application/json":
        return _pressed(request, visitor, sitting)
    return outbox.answer(visitor, sitting, outbox.read(request.body))


def _pressed(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """A mark button pressed without scripts: 'frame:kind'; the same mark again takes it away."""
    frame_id, _sep, kind = request.POST.get("mark", "").partition(":")
    if not frame_id.isdecimal():
        raise BadInput(_("Which frame is meant?"))
    frame = frame_for(visitor, Act.MARK, key_in(frame_id))
    if frame.sitting_id != sitting.pk:
        raise Missing(_("There is no such frame here."))
    voice = visitor.invite.voice if visitor.invite else None
    before = Mark.objects.filter(invite=voice, frame=frame).values_list("kind", flat=True).first()
    pick.set_mark(visitor, frame.pk, kind="" if before == kind else kind)
    return redirect(
        f"{reverse('sheet', args=[sitting.slug])}{'?whole=1' if 'whole' in request.POST else ''}#f{frame.pk}"
    )


@invitee_page(Act.SEE_SHEET)
@require_safe
def changes(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """204 while nothing changed since the page looked last, else everything that can change."""
    return news(request, sitting, lambda: marks_of_all.news(visitor, sitting, request.GET.get("since", "")))


@invitee_page(Act.SEE_FRAME)
@require_http_methods(["GET", "HEAD", "POST"])
def remarks(request: HttpRequest, visitor: Visitor, sitting: Sitting, frame_id: int) -> HttpResponseBase:
    """The talk about one frame, other people's notes on it, and the shapes of the delivery sizes on it."""
    frame = frame_for(visitor, Act.SEE_FRAME, frame_id)
    if frame.sitting_id != sitting.pk:
        raise Missing(_("There is no such frame here."))
    if request.method == "POST":
        pick.remark(visitor, frame.pk, request.POST.get("text", ""))
        if not wants_json(request):
            return redirect(f"{reverse('sheet', args=[sitting.slug])}#f{frame.pk}")
    reading = "" if frame.reading is None else msgspec.json.encode(frame.reading).decode()
    return JsonResponse(talk.of_frame(visitor, sitting, frame.pk, reading, (frame.width, frame.height)))


@invitee_page(Act.MARK)
@require_POST
def done(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    pick.say_done(visitor, sitting)
    if "said" not in request.POST:  # else the open page says it itself, and a later one would say what a mark took back
        messages.success(request, _("Thank you. Everybody sees that you are through; you may still change your mind."))
    if wants_json(request):
        return JsonResponse({"through": True})
    return redirect("sheet", slug=sitting.slug)


@invitee_page(Act.CHOOSE_LOOKS)
@require_POST
def look_say(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """The subject keeps a look from the representation; letting it go again has a page of its own."""
    look = get_object_or_404(looks_shown_to(visitor, sitting), pk=key_in(request.POST.get("look", "")))
    kept.keep_look(visitor, look)
    messages.success(request, _("“%s” is kept from the representation.") % look.title)
    return redirect(f"{reverse('sheet', args=[sitting.slug])}#look-{look.pk}")
