"""Frames side by side, and the order that comes of it."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase, JsonResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from galleries import plain_json
from galleries.access import Act, Visitor
from galleries.errors import BadInput
from galleries.models import Mark, Sitting
from galleries.steps.picking import pick
from galleries.web.doors import invitee_page, wants_json
from galleries.web.invitee import showing
from galleries.web.invitee.page import page
from galleries.web.invitee.sheet import config
from galleries.web.invitee.shown import Shown, script_frames
from galleries.web.invitee.words import sheet_words

MOST = 500
HEAPS_FROM = 13  # frames from which three heaps are offered: a knock-out of so many takes up to 49 presses


@invitee_page(Act.SEE_SHEET)
@require_http_methods(["GET", "HEAD", "POST"])
def compare(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """GET ?frames=1,2,3 or ?run=7 or ?look=2, of which what they like, or &whole=1; POST {order: [ids]} or
    order=1,2,3: one's own ranking."""
    if request.method == "POST":
        order = merged(_ranking(visitor), _order(request))
        pick.set_order(visitor, sitting, order)
        if wants_json(request):
            return JsonResponse({"order": order})
        messages.success(request, _("Your order is kept."))
        return redirect("sheet", slug=sitting.slug)
    sheet = showing.sheet_of(visitor, sitting)
    shown = [one for strip in sheet.strips for one in strip.frames]
    chosen = _chosen(request, shown)[:MOST]
    whole = [one for one in _of_look(request, shown) if one.kind != Mark.Kind.STRIKE]
    ranking = _ranking(visitor)
    return page(
        request,
        visitor,
        sitting,
        "compare",
        chosen=chosen,
        heaps=len(chosen) >= HEAPS_FROM,
        # Only what they like of a look: that it is so is said, and the rest is a press away.
        whole_look=len(whole) if len(whole) > len(chosen) else 0,
        script_frames=script_frames(chosen),
        state=showing.state(visitor, sitting, sheet.known),
        words={**sheet_words(), **compare_words()},
        config={**config(visitor, sitting), "sheet": request.path.rsplit("/", 1)[0] + "/sheet"},
        ranking=[pk for pk in ranking if pk in {one.frame.pk for one in chosen}],
    )


def _chosen(request: HttpRequest, shown: list[Shown]) -> list[Shown]:
    if "run" in request.GET:
        run = _number(request.GET["run"])
        return sorted((one for one in shown if one.frame.run == run), key=lambda one: one.frame.run_place)
    if "look" in request.GET:
        look = _of_look(request, shown)
        liked = [one for one in look if one.kind in {Mark.Kind.PICK, Mark.Kind.ALTERNATE}]
        if len(liked) > 1 and "whole" not in request.GET:
            return liked
        return [one for one in look if one.kind != Mark.Kind.STRIKE]
    wanted = [_number(part) for part in request.GET.get("frames", "").split(",") if part]
    by_id = {one.frame.pk: one for one in shown}
    return [by_id[pk] for pk in dict.fromkeys(wanted) if pk in by_id]


def _of_look(request: HttpRequest, shown: list[Shown]) -> list[Shown]:
    """The frames of the look that is asked for; none where none is."""
    if "look" not in request.GET or "run" in request.GET:
        return []
    return [one for one in shown if one.frame.look_id == _number(request.GET["look"])]


def _number(text: str) -> int:
    if not text.isdecimal() or len(text) > 18:
        raise BadInput(_("“%s” is no number of a frame.") % text)
    return int(text)


def _order(request: HttpRequest) -> list[int]:
    if request.content_type == "application/json":
        try:
            order = plain_json.loads(request.body)["order"]
        except (ValueError, KeyError, TypeError):
            raise BadInput(_("The order that was sent cannot be read.")) from None
        if not isinstance(order, list):
            raise BadInput(_("The order that was sent cannot be read."))
        return [_number(str(pk)) for pk in order]
    return [_number(part) for part in request.POST.get("order", "").split(",") if part]


def _ranking(visitor: Visitor) -> list[int]:
    voice = visitor.invite.voice if visitor.invite else None
    return list(voice.standings.order_by("place").values_list("frame_id", flat=True)) if voice else []


def merged(ranking: Sequence[int], fresh: Sequence[int]) -> list[int]:
    """A new order of some frames inside the ranking that is there: they take each other's places, the others keep
    theirs, and frames that had none come after the last of them."""
    known = set(ranking)
    places = [i for i, pk in enumerate(ranking) if pk in set(fresh)]
    order, rest = list(ranking), list(fresh[len(places) :])
    for i, pk in zip(places, fresh, strict=False):
        order[i] = pk
    after = places[-1] + 1 if places else len(order)
    order[after:after] = rest
    assert set(order) == known | set(fresh)  # noqa: S101 - nobody loses a place  # nosec B101
    return order


def compare_words() -> dict[str, str]:
    return {
        "keep": _("Keep {label}"),
        "question": _("Which one stays? Presses left: at most {presses}."),
        "question_place": _("Which one comes at place {place}? Presses left: at most {presses}."),
        "finished": _("Your order, best first. Move a frame if it is wrong, then keep the order."),
        "finished_only": _("Your order, best first."),
        "left_out": _("{n} struck left out."),
        "pick_first": _("Pick the first {n}"),
        "pick_first_one": _("Pick the first"),
        "picked_first": _("The first {n} are picked."),
        "picked_first_one": _("The first is picked."),
        "up": _("{label} one up"),
        "down": _("{label} one down"),
        "kept_order": _("Your order is kept."),
        "place_of": _("Place {place}"),
        "unsent_order": _("The order could not be sent. Try again when the network is back."),
        "said_kept": _("{label} stays."),
        "heaps_offer": _("{n} frames: three heaps take {n} presses, the knock-out up to {presses}."),
        "which_heap": _("{label}, {i} of {n}: on which heap?"),
        "laid_yes": _("{label}: yes."),
        "laid_perhaps": _("{label}: perhaps."),
        "laid_no": _("{label}: no."),
        "heaps_will": _("{picks} to pick, {alternates} as alternates, {left} left out."),
        "heaps_over": _("More than the {n} included: the knock-out brings the first heap into an order."),
        "heaps_mark": _("Make marks of the heaps"),
        "heaps_unmark": _("Take these marks back"),
        "heaps_marked": _("The marks are set; your sheet shows them."),
        "taken_back": _("The last choice is taken back."),
    }
