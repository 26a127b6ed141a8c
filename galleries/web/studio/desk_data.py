"""What the desk shows of a sitting, as plain data: frames with flags, looks with their reasons, both sides' marks."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from typing import Any, NamedTuple

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from galleries.models import Frame, Invite, Look, Mark, Proof, Sitting
from galleries.models.compiled import Compiled
from galleries.models.sittings import edge_label
from galleries.sorting.cast import Cast as SkinCast
from galleries.sorting.eyes import ENLARGED, SHARP, SMALL, Usual, eyes_closed, is_soft, soft_throughout, usual
from galleries.sorting.frames import FrameNumbers
from galleries.steps.ingesting import ingest, reading_anew
from galleries.steps.sorting import loupe, sort, take_back
from galleries.steps.sorting.readings import Readings, ReadNumbers, numbers_of, readings_of
from galleries.told import Told
from galleries.web.addresses import view_picture
from galleries.web.studio import undo_words
from galleries.words.told import sentence, stored

SIDES = {Invite.Role.SUBJECT.value: "s", Invite.Role.REPRESENTATION.value: "r"}
_FILE = Frame.Shown.FILE.value


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


class DeskFrame(NamedTuple):
    """What the desk needs of a frame; whole rows of thousands took a third of the answer."""

    pk: int
    look: int | None
    name: str
    number: int | None
    captured_at: datetime | None
    width: int
    height: int
    file_format: str
    shown: str
    sensor_width: int
    sensor_height: int
    profile_unread: str
    run: int | None
    run_place: int
    hidden: bool
    suggested: bool
    raw_name: str | None  # of the raw file of the same exposure, where this frame's own file is none


_ask_frames = Compiled(
    lambda sitting: (
        Frame.objects.filter(sitting=sitting)
        .order_by("captured_at", "name", "pk")
        .values_list(*DeskFrame._fields[:-1], "raw__name")
    )
)


def everything(sitting: Sitting) -> dict[str, Any]:
    frames = [DeskFrame._make(row) for row in _ask_frames(sitting.pk)]
    readings, proofs, marks = readings_of(sitting), small_sizes(sitting), _marks(sitting)
    usual_in = _usual_by_look(frames, readings)
    casts = sort.skin_casts((frame.pk, frame.look, readings.of(frame.pk).skin) for frame in frames)
    rows = []
    for frame in frames:
        read, cast, usual_here = readings.of(frame.pk), casts.get(frame.pk), usual_in[frame.look]
        row = _frame(frame, proofs.get(frame.pk), marks.get(frame.pk, {}), cast, read)
        row["flags"] = hints = [*_flags(read, usual_here), *_cast_flags(cast)]
        if (place := readings.places.get(frame.pk)) is not None and place.smile is not None:
            row["range"] = {"smile": place.smile, "intensity": place.intensity}
        row["compared"] = _compared(hints, read.eyes, usual_here, cast) if hints else ""
        rows.append(row)
    places = [[frame.pk, frame.look, int(frame.hidden), int(frame.suggested)] for frame in frames]
    return {"frames": rows, "soft": _soft_looks(usual_in), **_state(sitting, places)}


def _soft_looks(usual_in: dict[int | None, Usual]) -> dict[str, str]:
    """Of each look that is soft from end to end one sentence (key: its id, '0' for frames without a look)."""
    words = _("No frame here is quite sharp (the best %(best)s, sharp is from %(sharp)s): enlarged, or focus missed")
    return {
        str(look or 0): words % {"best": number_format(usual.sharpest or 0, 2), "sharp": number_format(SHARP, 2)}
        for look, usual in usual_in.items()
        if soft_throughout(usual)
    }


def state(sitting: Sitting) -> dict[str, Any]:
    """What acts change: looks, places of frames, what can be taken back."""
    places = sitting.frames.values_list("pk", "look_id", "hidden", "suggested")
    return _state(sitting, [[pk, look, int(hidden), int(suggested)] for pk, look, hidden, suggested in places])


def _state(sitting: Sitting, places: list[list[int | None]]) -> dict[str, Any]:
    sitting.refresh_from_db(fields=["change", "current_look"])
    return {
        "change": sitting.change,
        "looks": [_look(look) for look in sitting.looks.all()],
        "places": places,
        "undo": undo_words.hint(take_back.last_undoable(sitting)),
        "anew": reading_anew.older_readings(sitting),
    }


def _note(frame: DeskFrame, read: ReadNumbers) -> str:
    """What there is to say of the file itself; most have nothing."""
    told = [*_picture_shown(frame), *_colours(frame), *_holds_little(frame, read), *_unknown(read)]
    return "; ".join(told)[:300] if told else ""


def _picture_shown(frame: DeskFrame) -> tuple[str, ...]:
    """Of a raw file: which of its two pictures people see, and how many pixels the sensor has; of another, whether
    the raw file stands beside it."""
    if frame.raw_name is not None:
        return (_("beside it the raw file %s") % frame.raw_name,)
    if frame.shown == _FILE:
        return ()
    size = f"{frame.sensor_width} × {frame.sensor_height}"
    shown = Frame.Shown(frame.shown).label
    return (_("%(kind)s of %(size)s pixels: %(shown)s") % {"kind": frame.file_format, "size": size, "shown": shown},)


def _colours(frame: DeskFrame) -> tuple[str, ...]:
    """That the colours the file names are not used, and why."""
    unread = ingest.colours_told(frame.profile_unread)
    return (sentence(unread),) if unread else ()


def _holds_little(frame: DeskFrame, read: ReadNumbers) -> Iterable[str]:
    """What a look at 100 % would show of the picture as a whole: few pixels, or fewer than it seems to have."""
    if 0 < frame.width * frame.height < SMALL:
        size = {"width": frame.width, "height": frame.height}
        yield _("a small picture (%(width)s × %(height)s): its sharpness says little about a print") % size
    if read.fine_detail is not None and read.fine_detail < ENLARGED:
        yield _("less fine detail than its pixels could hold: enlarged, or soft all over")


def _unknown(read: ReadNumbers) -> list[str]:
    """Why numbers of a frame are not known, each reason once, whatever else hangs on the same one."""
    reasons: dict[str, object] = {}
    for why in read.unknown:
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


def _frame(
    frame: DeskFrame, proof: Small | None, marks: dict[str, str], cast: SkinCast | None, read: ReadNumbers
) -> dict[str, Any]:
    row: dict[str, Any] = {
        "id": frame.pk,
        "label": edge_label(frame.number, frame.name),
        "name": frame.name,
        "time": frame.captured_at.time().isoformat("seconds") if frame.captured_at else "",
        "w": proof.width if proof else frame.width,
        "h": proof.height if proof else frame.height,
        "run": frame.run,
        "place": frame.run_place,
        # Differences of skin a* and b* from the look's median, where they are known.
        "cast": [cast.a, cast.b] if cast else None,
        "marks": marks,
        "note": _note(frame, read),
        "small": view_picture(frame.pk, as_on_desk=True),
    }
    sensor = frame.sensor_width, frame.sensor_height
    if frame.shown != _FILE and loupe.is_smaller(frame.shown, (frame.width, frame.height), sensor):
        row["sensor"] = True  # its eyes at 100 % are developed when somebody asks
    if eyes := read.place:
        row["eyes"], row["gap"] = [eyes.x, eyes.y], eyes.gap
    return row


def flags(frame: Frame, usual: Usual) -> list[str]:
    """closed, soft, noface, unread: hints for the photographer's own look, nothing more. `usual` in its look."""
    return _flags(numbers_of(frame.read), usual)


def _flags(read: ReadNumbers, usual: Usual) -> list[str]:
    if not read.is_read:
        return ["unread"]
    if not read.has_face:
        return ["noface"]
    hints = []
    if eyes_closed(read.eyes, usual):
        hints.append("closed")
    if is_soft(read.eyes, usual.sharpest):
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


def _usual_by_look(frames: Iterable[DeskFrame], readings: Readings) -> dict[int | None, Usual]:
    by_look: dict[int | None, list[FrameNumbers]] = {}
    for frame in frames:
        by_look.setdefault(frame.look, []).append(readings.of(frame.pk).eyes)
    everywhere = usual(numbers for known in by_look.values() for numbers in known).sharpest
    told = {look: usual(known) for look, known in by_look.items()}
    # A look of a few frames is held against the whole sitting.
    return {look: replace(one, sharpest=one.sharpest or everywhere) for look, one in told.items()}


def _marks(sitting: Sitting) -> dict[int, dict[str, str]]:
    """frame → {'s': kind, 'r': kind}."""
    sides = Mark.objects.filter(frame__sitting=sitting).by_side()
    return {frame: {SIDES[role]: kind for role, kind in row.items()} for frame, row in sides.items()}


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
