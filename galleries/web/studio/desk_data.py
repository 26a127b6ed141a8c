"""What the desk shows of a sitting, as plain data: frames with flags, looks with their reasons, both sides' marks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any, NamedTuple

import msgspec
from django.db.models import TextField
from django.db.models.functions import Cast
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from galleries.imaging.face.places import eyes_place
from galleries.models import Frame, Invite, Look, Mark, Proof, Sitting
from galleries.models.compiled import Compiled
from galleries.sorting.cast import Cast as SkinCast
from galleries.sorting.expression import Numbers, places
from galleries.sorting.eyes import ENLARGED, SHARP, SMALL, Usual, eyes_closed, is_soft, soft_throughout, usual
from galleries.sorting.frames import FrameNumbers
from galleries.steps.ingesting import ingest, reading_anew
from galleries.steps.sorting import loupe, ranges, sort, take_back
from galleries.told import Told
from galleries.web.addresses import view_picture
from galleries.web.studio import undo_words
from galleries.words.told import sentence, stored

SIDES = {Invite.Role.SUBJECT: "s", Invite.Role.REPRESENTATION: "r"}


class Small(NamedTuple):
    """What the desk needs of a frame's newest proof: its shape."""

    width: int
    height: int


_ask_sizes = Compiled(
    lambda sitting: (
        Proof.objects.filter(frame__sitting=sitting)
        .order_by("pk")
        .values_list("frame_id", "small_width", "small_height")
    )
)


def small_sizes(sitting: Sitting) -> dict[int, Small]:
    """frame → the size of its newest proof's small picture."""
    return {frame: Small(width, height) for frame, width, height in _ask_sizes(sitting.pk)}


def everything(sitting: Sitting) -> dict[str, Any]:
    frames = _frames(sitting)
    proofs = small_sizes(sitting)
    marks = _marks(sitting)
    numbers = {frame.pk: sort.numbers(frame) for frame in frames}
    usual_in = _usual_by_look(frames, numbers)
    casts = sort.skin_casts(frames)
    range_of = places({frame.pk: _expression(frame) for frame in frames})
    rows = []
    for frame in frames:
        usual_here, cast = usual_in[frame.look_id], casts.get(frame.pk)
        row = _frame(frame, proofs.get(frame.pk), marks.get(frame.pk, {}), cast)
        row["small"] = view_picture(frame.pk, as_on_desk=True)
        row["flags"] = [*_flags(frame.read, numbers[frame.pk], usual_here), *_cast_flags(cast)]
        if (place := range_of.get(frame.pk)) is not None and place.smile is not None:
            row["range"] = {"smile": place.smile, "intensity": place.intensity}
        row["compared"] = _compared(row["flags"], numbers[frame.pk], usual_here, cast)
        rows.append(row)
    return {"frames": rows, "soft": _soft_looks(usual_in), **state(sitting)}


def _expression(frame: Frame) -> Numbers:
    return ranges.of_face(frame.read.get("face") or {})


def _soft_looks(usual_in: dict[int | None, Usual]) -> dict[str, str]:
    """Of each look that is soft from end to end one sentence (key: its id, '0' for frames without a look)."""
    words = _("No frame here is quite sharp (the best %(best)s, sharp is from %(sharp)s): enlarged, or focus missed")
    return {
        str(look or 0): words % {"best": number_format(usual.sharpest or 0, 2), "sharp": number_format(SHARP, 2)}
        for look, usual in usual_in.items()
        if soft_throughout(usual)
    }


# What the desk asks of a frame; making whole rows of thousands took a third of the answer.
OF_FRAME = (
    *("sitting", "look", "name", "number", "captured_at", "camera", "width", "height", "file_format", "shown"),
    *("sensor_width", "sensor_height", "profile_unread", "run", "run_place", "raw__frame", "raw__name"),
)


def _frames(sitting: Sitting) -> list[Frame]:
    """All of them, with readings. These are read by a parser that takes a quarter of the time of Django's own."""
    rows = (
        sitting.frames.select_related("raw")
        .only(*OF_FRAME)
        .annotate(text=Cast("reading", TextField()))
        .order_by("captured_at", "name", "pk")
    )
    frames = list(rows)
    for frame in frames:
        text = frame.text  # type: ignore[attr-defined]  # the annotation
        frame.reading = None if text is None else msgspec.json.decode(text)
    return frames


def state(sitting: Sitting) -> dict[str, Any]:
    """What acts change: looks, places of frames, what can be taken back."""
    sitting.refresh_from_db(fields=["change", "current_look"])
    places = sitting.frames.values_list("pk", "look_id", "hidden", "suggested")
    return {
        "change": sitting.change,
        "looks": [_look(look) for look in sitting.looks.all()],
        "places": [[pk, look, int(hidden), int(suggested)] for pk, look, hidden, suggested in places],
        "undo": undo_words.hint(take_back.last_undoable(sitting)),
        "anew": reading_anew.older_readings(sitting),
    }


def _picture_shown(frame: Frame) -> tuple[str, ...]:
    """Of a raw file: which of its two pictures people see, and how many pixels the sensor has; of another, whether
    the raw file stands beside it."""
    if frame.raw_beside is not None:
        return (_("beside it the raw file %s") % frame.raw_beside.name,)
    if not frame.is_raw:
        return ()
    size = f"{frame.sensor_width} × {frame.sensor_height}"
    shown = frame.get_shown_display()
    return (_("%(kind)s of %(size)s pixels: %(shown)s") % {"kind": frame.file_format, "size": size, "shown": shown},)


def _colours(frame: Frame) -> tuple[str, ...]:
    """That the colours the file names are not used, and why."""
    unread = ingest.colours_told(frame)
    return (sentence(unread),) if unread else ()


def _holds_little(frame: Frame, read: dict[str, Any]) -> Iterable[str]:
    """What a look at 100 % would show of the picture as a whole: few pixels, or fewer than it seems to have."""
    if 0 < frame.width * frame.height < SMALL:
        size = {"width": frame.width, "height": frame.height}
        yield _("a small picture (%(width)s × %(height)s): its sharpness says little about a print") % size
    detail = read.get("fine_detail")
    if detail is not None and detail < ENLARGED:
        yield _("less fine detail than its pixels could hold: enlarged, or soft all over")


def _unknown(read: dict[str, Any]) -> list[str]:
    """Why numbers of a frame are not known, each reason once, whatever else hangs on the same one."""
    reasons: dict[str, object] = {}
    for why in (read.get("unknown") or {}).values():
        reasons.setdefault(Told.from_stored(why).code or str(why), why)
    return list(dict.fromkeys(stored(why) for why in reasons.values()))


def picture(proof: Proof | None) -> str:
    """The frame without its stamp, as small as the desk draws it; '' while both are being made."""
    return view_picture(proof.frame_id, as_on_desk=True) if proof else ""


def _look(look: Look) -> dict[str, Any]:
    return {
        "id": look.pk,
        "title": look.title,
        "purpose": look.get_purpose_display(),
        "treatment": look.treatment,
        "hidden": look.hidden,
        "reason": look.proposed_why,
    }


def _frame(frame: Frame, proof: Small | None, marks: dict[str, str], cast: SkinCast | None) -> dict[str, Any]:
    read = frame.read
    row: dict[str, Any] = {
        "id": frame.pk,
        "label": frame.label,
        "name": frame.name,
        "time": f"{frame.captured_at:%H:%M:%S}" if frame.captured_at else "",
        "w": proof.width if proof else frame.width,
        "h": proof.height if proof else frame.height,
        "run": frame.run,
        "place": frame.run_place,
        # Differences of skin a* and b* from the look's median, where they are known.
        "cast": [cast.a, cast.b] if cast else None,
        "marks": marks,
        "note": "; ".join((*_picture_shown(frame), *_colours(frame), *_holds_little(frame, read), *_unknown(read)))[
            :300
        ],
    }
    if loupe.from_sensor(frame):
        row["sensor"] = True  # its eyes at 100 % are developed when somebody asks
    face = read.get("face") or {}
    eyes = eyes_place(face.get("right_eye"), face.get("left_eye"), read.get("width"), read.get("height"))
    if eyes:
        row["eyes"], row["gap"] = [eyes.x, eyes.y], eyes.gap
    return row


def flags(frame: Frame, usual: Usual) -> list[str]:
    """closed, soft, noface, unread: hints for the photographer's own look, nothing more. `usual` in its look."""
    return _flags(frame.read, sort.numbers(frame), usual)


def _flags(read: dict[str, Any], numbers: FrameNumbers, usual: Usual) -> list[str]:
    if not read:
        return ["unread"]
    if not read.get("face"):
        return ["noface"]
    hints = []
    if eyes_closed(numbers, usual):
        hints.append("closed")
    if is_soft(numbers, usual.sharpest):
        hints.append("soft")
    return hints


def _cast_flags(cast: SkinCast | None) -> list[str]:
    return ["cast", cast.towards] if cast and cast.marked else []


def _compared(flags: list[str], numbers: FrameNumbers, usual: Usual, cast: SkinCast | None) -> str:
    """The numbers behind the flags, and what they were held against; '' where there is no number."""
    pairs = []
    if "closed" in flags:
        pairs.append((_("eyes open"), numbers.openness, usual.openness, _("(usual in its look: %s)")))
    if "soft" in flags:
        pairs.append((_("sharpness"), numbers.sharpness, usual.sharpest, _("(the sharpest of its look: %s)")))
    told = []
    for what, here, there, against in pairs:
        if here is not None:
            beside = against % number_format(there, 2) if there else ""
            told.append(f"{what} {number_format(here, 2)} {beside}".rstrip())
    if cast and "cast" in flags:
        told.append(_("skin %s away from the usual of its look") % number_format(cast.distance, 1))
    return ", ".join(told)


def _usual_by_look(frames: Iterable[Frame], numbers: dict[int, FrameNumbers]) -> dict[int | None, Usual]:
    by_look: dict[int | None, list[FrameNumbers]] = {}
    for frame in frames:
        by_look.setdefault(frame.look_id, []).append(numbers[frame.pk])
    everywhere = usual(numbers.values()).sharpest
    told = {look: usual(known) for look, known in by_look.items()}
    # A look of a few frames is held against the whole sitting.
    return {look: replace(one, sharpest=one.sharpest or everywhere) for look, one in told.items()}


def _marks(sitting: Sitting) -> dict[int, dict[str, str]]:
    """frame → {'s': kind, 'r': kind}."""
    sides = Mark.objects.filter(frame__sitting=sitting).by_side()
    return {frame: {SIDES[Invite.Role(role)]: kind for role, kind in row.items()} for frame, row in sides.items()}


def filters() -> list[tuple[str, str]]:
    """(name, word) of each condition that the desk can show frames by; several at once must all hold."""
    return [
        ("closed", _("eyes closed")),
        ("soft", _("soft")),
        ("noface", _("no face")),
        ("cast", _("skin cast")),
        ("suggested", _("suggested")),
        ("changed", _("marks changed")),
        ("unmarked", _("unmarked")),
        ("hidden", _("hidden")),
        ("shown", _("not hidden")),
    ]


def flag_words() -> dict[str, str]:
    return {
        "closed": _("check the eyes"),
        "soft": _("soft"),
        "noface": _("no face found"),
        "unread": _("not read yet"),
        "cast": _("skin cast"),
        # Said after “skin cast”: in which direction it lies from the look's usual skin.
        "red": _("redder"),
        "green": _("greener"),
        "yellow": _("yellower"),
        "blue": _("bluer"),
    }
