"""One's picks as casting first meets them: as small as a stamp, among others; and in numbers, what carries there.

Every pixel is of a stamped small proof, shown through the window of a crop; the strangers beside are painted.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, NamedTuple

from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from galleries.access import Act, Visitor, finals_shown_to, may
from galleries.imaging.comparing.list_size import WIDTHS
from galleries.imaging.framing.geometry import Ratio
from galleries.models import Frame, Invite, Mark, Sitting
from galleries.steps.picking import list_size
from galleries.steps.picking.list_size import ListCrop
from galleries.web.doors import invitee_page
from galleries.web.invitee import list_words, showing
from galleries.web.invitee.page import page
from galleries.web.invitee.sheet import config
from galleries.web.invitee.shown import Shown, other_sides, script_frames
from galleries.web.invitee.words import label_of, sheet_words

MOST_PICKS = 24
OTHERS = 16  # frames of the same sitting; with the strangers: forty
PEOPLE, ACROSS, TILE = 24, 6, (240, 300)  # of the picture of strangers, see galleries/painter/neighbours.py


class Window(NamedTuple):
    """What is seen of a picture of `width` × `height`: the part named by `box` (left, top, width, height). As SVG reads
    numbers, in no reader's language."""

    box: str
    width: str
    height: str


@dataclass(frozen=True)
class Tile:
    """One picture of the list. `shown` is None for a stranger."""

    window: Window
    shown: Shown | None = None
    mine: bool = False
    words: str = ""


@invitee_page(Act.SEE_SHEET)
@require_safe
def as_casting(request: HttpRequest, visitor: Visitor, sitting: Sitting) -> HttpResponseBase:
    """GET ?of=own|subject|representation|agreed (whose picks) &shape=<slug of a casting size>."""
    sheet = showing.sheet_of(visitor, sitting)
    shown = [one for strip in sheet.strips for one in strip.frames]
    choices = _choices(visitor, sitting, shown)
    whose = next((one for one in choices if one[0] == request.GET.get("of")), choices[0] if choices else ("", "", []))
    picks = whose[2][:MOST_PICKS]
    others = _others(sitting, shown, picks)
    shapes = list_size.casting_shapes()
    shape = next((one for one in shapes if one.slug == request.GET.get("shape")), shapes[0])
    rows = Frame.objects.select_related("sitting").in_bulk([one.frame.pk for one in (*picks, *others)])
    crops = {pk: list_size.list_crop(frame, shape.ratio) for pk, frame in rows.items()}
    words = sheet_words()
    named = partial(_tile, crops=crops, words=words)
    return page(
        request,
        visitor,
        sitting,
        "as_casting",
        whose=whose[0],
        choices=[(code, label) for code, label, _picks in choices],
        shape=shape,
        shapes=shapes,
        opened="shape" in request.GET and whose[0] == request.GET.get("of"),
        widths=WIDTHS,
        grounds=[("white", _("white page")), ("dark", _("dark page"))],
        beside=[
            ("both", _("both")),
            ("strangers", _("painted strangers")),
            ("sitting", _("frames of this sitting")),
        ],
        tiles=_mixed(sitting, [named(one, mine=True) for one in picks], [named(one) for one in others], shape.ratio),
        numbers=_numbers(picks, rows, crops, named),
        left_out=max(0, len(whose[2]) - MOST_PICKS),
        script_frames=script_frames([*picks, *others]),
        state=showing.state(visitor, sitting, sheet.known),
        words=words,
        config=config(visitor, sitting),
    )


def _choices(visitor: Visitor, sitting: Sitting, shown: list[Shown]) -> list[tuple[str, str, list[Shown]]]:
    """(code, words, frames) of each person's picks that there are; one's own first, also while there are none."""
    choices: list[tuple[str, str, list[Shown]]] = []
    side = visitor.invite.role if visitor.invite is not None and visitor.invite.is_side else ""
    if side:
        choices.append(("own", _("your picks"), [one for one in shown if one.kind == Mark.Kind.PICK]))
    for role, label in (
        (Invite.Role.SUBJECT, _("the subject’s picks")),
        (Invite.Role.REPRESENTATION, _("the representation’s picks")),
    ):
        theirs = [one for one in shown if _picked_by(role, one)]
        if theirs and role != side:
            choices.append((str(role), label, theirs))
    if may(visitor, Act.SEE_FINALS, sitting):
        on = set(finals_shown_to(visitor, sitting).listed().values_list("frame_id", flat=True))
        agreed = [one for one in shown if one.frame.pk in on]
        if agreed:
            choices.append(("agreed", _("the agreed list"), agreed))
    return choices


def _picked_by(role: str, one: Shown) -> bool:
    return other_sides(None, one.theirs).get(role) == Mark.Kind.PICK


def _others(sitting: Sitting, shown: list[Shown], picks: Sequence[Shown]) -> list[Shown]:
    """Some other frames of the sitting that the person did not strike, the same ones at each visit."""
    on = {one.frame.pk for one in picks}
    left = [one for one in shown if one.frame.pk not in on and one.kind != Mark.Kind.STRIKE]
    return sorted(left, key=lambda one: _lot(sitting, one.frame.pk))[:OTHERS]


def _lot(sitting: Sitting, thing: object) -> str:
    """Draws lots that fall the same way each time."""
    return hashlib.sha256(f"{sitting.pk}:{thing}".encode()).hexdigest()


def _mixed(sitting: Sitting, picks: list[Tile], others: list[Tile], ratio: Ratio) -> list[Tile]:
    """All of them as lots put them, the same way each time."""
    drawn = [(_lot(sitting, tile.shown.frame.pk), tile) for tile in (*picks, *others) if tile.shown]
    drawn += [(_lot(sitting, f"stranger {n}"), Tile(_stranger(n, ratio))) for n in range(PEOPLE)]
    return [tile for _place, tile in sorted(drawn, key=lambda row: row[0])]


def _tile(one: Shown, *, crops: dict[int, ListCrop], words: dict[str, Any], mine: bool = False) -> Tile:
    width, height = one.proof.small_width, one.proof.small_height
    left, top, wide, high = crops[one.frame.pk].part
    box = f"{left * width:.2f} {top * height:.2f} {wide * width:.2f} {high * height:.2f}"
    theirs = [(who.role, kind, who.name) for who, kind in one.theirs]
    noted = bool(one.mine and one.mine.note)
    heard = label_of(words, one.frame.label, one.look, one.kind, theirs, noted=noted)
    return Tile(Window(box, str(width), str(height)), one, mine, heard)


def _stranger(n: int, ratio: Ratio) -> Window:
    """The n-th person of the painted picture in this shape."""
    wide, high = TILE
    width = min(wide, high * ratio.width / ratio.height)
    height = width * ratio.height / ratio.width
    x, y = n % ACROSS * wide + (wide - width) / 2, n // ACROSS * high + (high - height) / 4
    return Window(f"{x:.2f} {y:.2f} {width:.2f} {height:.2f}", str(wide * ACROSS), str(high * PEOPLE // ACROSS))


def _numbers(
    picks: Sequence[Shown], rows: dict[int, Frame], crops: dict[int, ListCrop], named: Any
) -> list[dict[str, Any]]:
    """Of each pick its tile and what is said of it."""
    pairs = list_size.compared([(rows[one.frame.pk], crops[one.frame.pk]) for one in picks])
    labels = {one.frame.pk: one.frame.label for one in picks}
    return [
        {
            "tile": named(one, mine=True),
            "lines": list_words.carried_lines(crops[one.frame.pk].carries, read=bool(rows[one.frame.pk].reading)),
            "nearest": list_words.nearest_line(one.frame.pk, pairs, labels, len(picks)),
        }
        for one in picks
    ]
