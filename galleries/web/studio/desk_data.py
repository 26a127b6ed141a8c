"""What the desk shows of a sitting, as plain data: frames with flags, looks with their reasons, both sides' marks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from galleries.imaging.face.places import eyes_place
from galleries.models import Frame, Invite, Look, Mark, Proof, Sitting
from galleries.sorting.cast import Cast
from galleries.sorting.eyes import Usual, eyes_closed, is_soft, usual
from galleries.sorting.frames import FrameNumbers
from galleries.steps.sorting import sort, take_back
from galleries.web.studio import undo_words
from galleries.words.told import stored

SIDES = {Invite.Role.SUBJECT: "s", Invite.Role.REPRESENTATION: "r"}


def everything(sitting: Sitting) -> dict[str, Any]:
    frames = list(sitting.frames.order_by("captured_at", "name", "pk"))
    proofs = Proof.objects.newest_of(frame.pk for frame in frames)
    marks = _marks(sitting)
    usual_in = _usual_by_look(frames)
    casts = sort.skin_casts(frames)
    rows = [
        _frame(frame, proofs.get(frame.pk), marks.get(frame.pk, {}), usual_in[frame.look_id], casts) for frame in frames
    ]
    return {"frames": rows, **state(sitting)}


def state(sitting: Sitting) -> dict[str, Any]:
    """What acts change: looks, places of frames, what can be taken back."""
    sitting.refresh_from_db(fields=["change", "current_look"])
    places = sitting.frames.values_list("pk", "look_id", "hidden", "suggested")
    return {
        "change": sitting.change,
        "looks": [_look(look) for look in sitting.looks.all()],
        "places": [[pk, look, int(hidden), int(suggested)] for pk, look, hidden, suggested in places],
        "undo": undo_words.hint(take_back.last_undoable(sitting)),
    }


def picture(proof: Proof | None, kind: str) -> str:
    return reverse("proof-picture", args=[proof.frame_id, kind, proof.pk]) if proof else ""


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
    frame: Frame,
    proof: Proof | None,
    marks: dict[str, str],
    usual_here: Usual,
    casts: dict[int, Cast],
) -> dict[str, Any]:
    read, cast = frame.read, casts.get(frame.pk)
    row: dict[str, Any] = {
        "id": frame.pk,
        "label": frame.label,
        "name": frame.name,
        "time": f"{frame.captured_at:%H:%M:%S}" if frame.captured_at else "",
        "small": f"{reverse('view-picture', args=[frame.pk])}?of=desk" if proof else "",  # without the stamp
        "large": picture(proof, "large"),
        "w": proof.small_width if proof else 320,
        "h": proof.small_height if proof else 480,
        "run": frame.run,
        "place": frame.run_place,
        "flags": [*flags(frame, usual_here), *(["cast", cast.towards] if cast and cast.marked else [])],
        # Differences of skin a* and b* from the look's median, where they are known.
        "cast": [cast.a, cast.b] if cast else None,
        "marks": marks,
        "note": "; ".join(dict.fromkeys(stored(why) for why in (read.get("unknown") or {}).values()))[:200],
    }
    face = read.get("face") or {}
    eyes = eyes_place(face.get("right_eye"), face.get("left_eye"), read.get("width"), read.get("height"))
    if eyes:
        row["eyes"], row["gap"] = [eyes.x, eyes.y], eyes.gap
    return row


def flags(frame: Frame, usual: Usual) -> list[str]:
    """closed, soft, noface, unread: hints for the photographer's own look, nothing more. `usual` in its look."""
    read = frame.read
    if not read:
        return ["unread"]
    if not read.get("face"):
        return ["noface"]
    numbers = sort.numbers(frame)
    hints = []
    if eyes_closed(numbers, usual.openness):
        hints.append("closed")
    if is_soft(numbers, usual.sharpness):
        hints.append("soft")
    return hints


def _usual_by_look(frames: Iterable[Frame]) -> dict[int | None, Usual]:
    by_look: dict[int | None, list[FrameNumbers]] = {}
    for frame in frames:
        by_look.setdefault(frame.look_id, []).append(sort.numbers(frame))
    return {look: usual(numbers) for look, numbers in by_look.items()}


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
