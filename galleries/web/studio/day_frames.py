"""The frames of a day's cards in strips: looked at, put into the sittings, moved, put back."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST

from galleries.access import Visitor
from galleries.errors import BadInput
from galleries.models import Day, Frame, Sitting
from galleries.steps.days import arranging, placing, planning
from galleries.web.doors import studio_page
from galleries.web.studio.day_words import DOUBTS

STAYS = "stays"
MOST_NUMBERS = 20_000


@studio_page()
@require_http_methods(["GET", "HEAD", "POST"])
def day_frames(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """GET: the strips. POST: `do=place` puts each strip where its choice says, `do=move` the frames that are ticked."""
    day = planning.day_of(sitting)
    if request.method == "POST":
        ticked = request.POST.get("do") == "move"
        count = placing.place(day, visitor, _places(request, day), as_frames=ticked)
        sentence = ngettext("%d frame goes into its sitting.", "%d frames go into their sittings.", count)
        messages.success(request, sentence % count if count else _("All frames lie where they are wanted."))
        return redirect("studio-day-frames", slug=sitting.slug)
    return render(request, "galleries/studio/day_frames.html", _context(visitor, day))


@studio_page()
@require_POST
def put_back(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """Take back what was put last."""
    count = placing.take_back(planning.day_of(sitting), visitor)
    messages.success(request, ngettext("%d frame goes back.", "%d frames go back.", count) % count)
    return redirect("studio-day-frames", slug=sitting.slug)


def _places(request: HttpRequest, day: Day) -> dict[int, int]:
    """Frame → sitting, as the form says. Raises `BadInput`."""
    if request.POST.get("do") == "move":
        ticked = _numbers(",".join(request.POST.getlist("frame")))
        if not ticked:
            raise BadInput(_("Tick the frames first."))
        to = request.POST.get("to", "")
        return dict.fromkeys(ticked, day.holding_id if to == STAYS else _number(to))
    places: dict[int, int] = {}
    for name, choice in request.POST.items():
        if name.startswith("strip-") and choice and choice != STAYS:
            frames = _numbers(request.POST.get(f"frames-{name.removeprefix('strip-')}", ""))
            places |= dict.fromkeys(frames, _number(str(choice)))
    if not places:
        raise BadInput(_("Choose a sitter for a strip first."))
    return places


def _numbers(text: str) -> list[int]:
    parts = [part for part in text.split(",") if part]
    if len(parts) > MOST_NUMBERS:
        raise BadInput(_("These are too many frames at once."))
    return [_number(part) for part in parts]


def _number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise BadInput(_("There is no such frame or sitter in this day."))
    return int(text)


def _context(visitor: Visitor, day: Day) -> dict[str, Any]:
    sitters = planning.sitters_for(visitor, day)
    arranged = arranging.arrangement(day, visitor, sitters)
    names = {sitter.sitting_id: sitter.sitting.subject_name for sitter in sitters}
    lying: dict[int, list[Frame]] = {}
    for frame in arranged.frames.values():
        if frame.of_day.is_slate is False:
            lying.setdefault(placing.wanted(frame), []).append(frame)
    return {
        "day": day,
        "sitting": day.holding,
        "page": "studio-day-frames",
        "sitters": sitters,
        "strips": [
            {
                "strip": strip,
                "doubt": DOUBTS[strip.doubt] if strip.doubt else "",
                "name": names.get(strip.sitter or 0, ""),
                "slate": arranged.frames.get(strip.slate or 0),
                "frames": [arranged.frames[pk] for pk in strip.frames],
                "numbers": ",".join(map(str, arranging.places_of(strip, 0))),
                "chosen": strip.sitter if strip.is_sure else None,
            }
            for strip in arranged.unsorted
        ],
        "sorted": [{"sitter": sitter, "frames": lying.get(sitter.sitting_id, [])} for sitter in sitters],
        "sure": arranged.sure,
        "pending": arranged.pending,
        "coming": placing.on_their_way(day),
        "set_clocks": arranged.set_clocks,
        "cameras": len({frame.camera for frame in arranged.frames.values()}),
        "can_undo": bool(day.acts),
        "stays": STAYS,
    }
