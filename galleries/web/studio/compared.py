"""The pictures of one final for the large compare: the frame as taken and each version, unstamped, with the place
of the eyes by which two of them are laid over."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from galleries.imaging.face.places import eyes_place
from galleries.models import Final, PinnedNote, Sitting, Version
from galleries.steps.derived import VIEW_SIDE


def pictures(sitting: Sitting, final: Final, versions: Sequence[Version], notes: Sequence[PinnedNote]) -> list[Any]:
    """{id, title, src, w, h, eyes: [x, y] or null, gap, pins, changed}, the frame first, then the versions in order.

    `changed`: rectangles of what a caution tells, [x, y, width, height]; on the frame those of the newest version.
    """
    frame = final.frame
    taken = _picture("frame", _("as taken"), reverse("view-picture", args=[frame.pk]), frame.width, frame.height)
    rows = [
        {
            **taken,
            **_eyes(frame.read),
            "pins": _pins(notes, None),
            "changed": versions[-1].changed_places() if versions else [],
        }
    ]
    for one in versions:
        title = _("version %d") % one.number
        src = reverse("studio-version-view", args=[sitting.slug, one.pk])
        row = _picture(str(one.pk), title, src, one.width, one.height)
        rows.append(
            {
                **row,
                **_eyes(one.reading or {}),
                "pins": _pins(notes, one.pk),
                "changed": one.changed_places(on_version=True),
            }
        )
    return rows


def _picture(name: str, title: str, src: str, width: int, height: int) -> dict[str, Any]:
    """With the size it comes in: never enlarged, its long side at `VIEW_SIDE` at most."""
    part = min(1.0, VIEW_SIDE / max(width, height, 1))
    return {"id": name, "title": title, "src": src, "w": round(width * part), "h": round(height * part)}


def _eyes(reading: dict[str, Any]) -> dict[str, Any]:
    face = reading.get("face") or {}
    place = eyes_place(face.get("right_eye"), face.get("left_eye"), reading.get("width"), reading.get("height"))
    return {"eyes": [place.x, place.y] if place else None, "gap": place.gap if place else 0}


def _pins(notes: Sequence[PinnedNote], version_id: int | None) -> list[list[float]]:
    """(number, x, y) of the notes on this picture, by their numbers in the list."""
    return [[number, one.x, one.y] for number, one in enumerate(notes, 1) if one.version_id == version_id]
