"""Is a retouch still true to the person? What of the face changed between a frame and its version, and where.

Everything is measured against the frame and, for colours, against what the whole picture's grade explains.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from galleries.imaging.arrays import Pixels
from galleries.imaging.comparing import grade, patches, shape_change, surface
from galleries.imaging.comparing.amounts import Changes, Place
from galleries.imaging.comparing.patches import Open, Patches
from galleries.imaging.face import tones
from galleries.imaging.face.faces import Face
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits


def changes(frame: bytes | Path, version: bytes | Path, face: Face, limits: Limits = DEFAULT_LIMITS) -> Changes | None:
    """Compare a version with its frame; `face` in pixels of the upright full frame.

    None when the two cannot be laid over each other or the face is outside. Raises as `decode.open_picture`.
    """
    here, there = (patches.open_picture(source, limits) for source in (frame, version))
    return changes_between(here, there, face.scaled(here.scale))


def changes_between(frame: Open, version: Open, face: Face) -> Changes | None:
    """As `changes`, for pictures already open; `face` in the frame's open pixels."""
    both = patches.lay_over(frame, version, face)
    if both is None:
        return None
    shape = shape_change.shape_change(both)
    amounts = {name: round(100 * value, 2) for name, value in vars(shape).items() if value is not None}
    unread = ["nose"] if shape.nose is None else []
    there = surface.laid(both)
    masks = surface.regions(both)
    lost = surface.texture_lost(both, there, masks)
    amounts |= {f"{name}_texture": round(100 * share, 1) for name, share in (lost or {}).items()}
    unread += [] if lost else ["texture"]
    colours = _colours(both, there)
    amounts |= colours
    unread += [kind for kind, name in (("skin", "skin"), ("irises", "_iris")) if not _any(colours, name)]
    boxes = _boxes(both)
    here = {name: both.place(*box) for name, box in boxes.items()}
    on_version = {name: both.place_on_version(*box) for name, box in boxes.items()}
    return Changes(amounts, here, on_version, tuple(unread))


def _any(amounts: Mapping[str, float], ending: str) -> bool:
    return any(name.endswith(ending) for name in amounts)


def _colours(both: Patches, there: Pixels) -> dict[str, float]:
    """How far skin and irises moved; nothing for black and white, or where no grade can be read."""
    if any(tones.is_monochrome(tones.to_lab(rgb)) for rgb in (both.wide_here, both.wide_there)):
        return {}
    whole = grade.read(both)
    if whole is None or not whole.holds:
        return {}
    apart, lighter = surface.skin_moved(both, there, whole)
    amounts = {"skin": round(apart, 2), "lightness": round(lighter, 2)}
    return amounts | {f"{name}_iris": value for name, value in (surface.irises_moved(both, there, whole) or {}).items()}


def _boxes(both: Patches) -> dict[str, Place]:
    """Where in the patch each amount is read, also those not worth a word: the studio's thresholds may change."""
    face, d = both.face, patches.EYE_DISTANCE
    (mx, my), (cx, cy), (ex, ey) = face.mouth, face.chin, face.eye_middle
    x, y, w, h = face.box
    nose_y = ey + 0.62 * (my - ey)
    boxes: dict[str, Place] = {
        "eyes": (face.right_eye[0] - 0.3 * d, min(face.right_eye[1], face.left_eye[1]) - 0.2 * d,
                 1.6 * d, 0.4 * d + abs(face.right_eye[1] - face.left_eye[1])),
        "mouth": (mx - 0.45 * d, my - 0.22 * d, 0.9 * d, 0.44 * d),
        "nose": ((ex + mx) / 2 - 0.38 * d, nose_y - 0.25 * d, 0.76 * d, 0.5 * d),
        "face": (x, y, w, h),
        "skin": (x, y, w, h),
        "cheeks": (x, ey, w, 0.5 * (cy - ey)),
        "jaw": (x, ey + 0.45 * (cy - ey), w, 0.5 * (cy - ey)),
        "chin": (cx - 0.45 * d, cy - 0.4 * d, 0.9 * d, 0.55 * d),
        "right_eye_iris": surface.eye_box(face, "right_eye"),
        "left_eye_iris": surface.eye_box(face, "left_eye"),
    }  # fmt: skip
    for name, mask in surface.regions(both).items():
        ys, xs = np.nonzero(mask)
        if len(xs):
            wide, high = float(np.ptp(xs)) + 1, float(np.ptp(ys)) + 1
            boxes[f"{name}_texture"] = (float(xs.min()), float(ys.min()), wide, high)
    return boxes
