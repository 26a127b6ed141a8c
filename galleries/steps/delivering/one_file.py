"""One file by itself: what the program sees in it, and what it would cut from it. Nothing is stored in a table."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _

from galleries.errors import BadInput
from galleries.imaging.contained import door
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing import crops
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.steps.delivering import sizes
from galleries.steps.limits import limits
from galleries.told import Told
from galleries.words.told import sentence, sentences


def report(path: Path) -> dict[str, Any]:
    """What the program reads from a file, as plain JSON.

    width, height (upright), captured_at (the camera's own clock, ISO 8601, or null), profile, profile_unread (why the
    file's own is not used, or ''), face {x, y, width, height}, eyes {left, right} (the subject's own), crown_y, chin_y
    (all in pixels of the upright frame), roll_deg; or face null and `reason`. `reading` holds all numbers of the
    reader, `facts` all that the file says of itself.

    Raises:
        ImagingError: the file is no picture that can be opened; the sentence does not name the file.
        OSError: the file cannot be read at all.
    """
    facts, reading = door.read_frame(path, limits())
    face = reading.face
    body: dict[str, Any] = {
        "path": str(path),
        "width": facts.width,
        "height": facts.height,
        "captured_at": facts.captured_at.isoformat() if facts.captured_at else None,
        "profile": facts.profile_name,
        "profile_unread": sentence(facts.profile_problem) if facts.profile_problem else "",
        "face": None,
        "eyes": None,
        "crown_y": None,
        "chin_y": None,
        "roll_deg": None,
    }
    if face is None:
        body["reason"] = sentence(reading.face_reason)
    else:
        x, y, width, height = face.box
        body |= {
            "face": {"x": _px(x), "y": _px(y), "width": _px(width), "height": _px(height)},
            "eyes": {"left": [_px(v) for v in face.left_eye], "right": [_px(v) for v in face.right_eye]},
            "crown_y": _px(face.crown_y),
            "chin_y": _px(face.menton[1]),
            "roll_deg": round(face.roll_deg, 2),
        }
    return {**body, "facts": facts.as_dict(), "reading": reading.as_dict()}


def _px(value: float) -> float:
    return round(float(value), 2)


def specs(slugs: Sequence[str]) -> list[SizeSpec]:
    """Sizes of the data file by their short names.

    Raises:
        BadInput: no such size; the sentence lists those there are.
    """
    entries = {entry["slug"]: entry for entry in json.loads(sizes.DATA.read_text(encoding="utf-8"))}
    for slug in slugs:
        if slug not in entries:
            raise BadInput(
                _("There is no size “%(slug)s”; there are: %(all)s.") % {"slug": slug, "all": ", ".join(entries)}
            )
    return [sizes.spec_from(entries[slug]) for slug in slugs]


def cut(path: Path, wanted: Sequence[SizeSpec], out: Path, name: str = "") -> list[dict[str, Any]]:
    """Cut a file to sizes, each crop as proposed, into the folder `out`; `name` goes into a name strip.

    Returns a row per file: path, size, width, height, bytes, crop [x, y, w, h] in pixels of the upright frame, and
    warnings and reasons in words. All are cut before the first is written.

    Raises:
        ImagingError: the file cannot be opened, or a size cannot be made of it.
        OSError: a file cannot be read or written.
    """
    facts, reading = door.read_frame(path, limits())
    places = [
        crops.propose(facts.width, facts.height, reading.face, size.ratio, out_height=size.out_height)
        for size in wanted
    ]
    orders = [CutOrder(size, place.rect, place.tilt_deg) for size, place in zip(wanted, places, strict=True)]
    files = door.make_finals(path, orders, limits(), name=name)
    out.mkdir(parents=True, exist_ok=True)
    rows = []
    for order, place, file in zip(orders, places, files, strict=True):
        ending = "tif" if order.size.file_format == "TIFF" else "jpg"
        target = out / f"{path.stem}_{order.size.slug}.{ending}"
        _write(target, file.data)
        rows.append(
            {
                "path": str(target),
                "size": order.size.slug,
                "width": file.width,
                "height": file.height,
                "bytes": len(file.data),
                "crop": [place.rect.x, place.rect.y, place.rect.width, place.rect.height],
                "warnings": _warnings(order.size, place.rect, (facts.width, facts.height), reading, file.warnings),
                "reasons": sentences(place.reasons),
            }
        )
    return rows


def _warnings(
    size: SizeSpec, rect: Rect, frame: tuple[int, int], reading: FrameReading, of_file: Sequence[Told]
) -> list[str]:
    warnings = crops.warnings_for(rect, frame, reading.face, size)
    return sentences(warnings or of_file)


def _write(target: Path, data: bytes) -> None:
    """Whole or not at all."""
    part = target.with_name(f".{target.name}.part")
    try:
        part.write_bytes(data)
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)
