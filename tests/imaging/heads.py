"""Faces as numbers for tests of geometry: no pixels, no networks."""

from __future__ import annotations

import math
from dataclasses import replace

from galleries.imaging.face.faces import MENTON_BELOW, Face, Point


def head(
    x: float,
    y: float,
    d: float,
    *,
    roll: float = 0.0,
    yaw: float = 0.0,
    hair: float = 0.15,
    openness: float | None = 0.33,
) -> Face:
    """A face with its eyes `d` px apart round (x, y). Eyes to the chin's outline 1.7 d, crown as far above plus `hair`
    of it.

    Of the 26 portraits of tests/benchmarks/eyes that outline is 1.58 to 2.12 d below the eyes.
    """
    radians = math.radians(roll)

    def at(along: float, across: float) -> Point:
        return (
            x + d * (math.cos(radians) * along - math.sin(radians) * across),
            y + d * (math.sin(radians) * along + math.cos(radians) * across),
        )

    oval = tuple(at(0.95 * math.cos(t), 0.45 + 1.25 * math.sin(t)) for t in (i * math.pi / 8 for i in range(16)))
    chin, menton = at(0, 1.7 / (1 + MENTON_BELOW)), at(0, 1.7)
    left, top = min(p[0] for p in oval), min(p[1] for p in oval)
    return Face(
        box=(left, top, max(p[0] for p in oval) - left, max(p[1] for p in oval) - top),
        right_eye=at(-0.5, 0),
        left_eye=at(0.5, 0),
        right_openness=openness,
        left_openness=openness,
        iris_radius_right=0.093 * d,
        iris_radius_left=0.093 * d,
        roll_deg=roll,
        crown_y=y - (1 + hair) * (menton[1] - y),
        crown_uncertainty=0.4 * d,
        crown_measured=False,
        chin=chin,
        forehead=at(0, -0.8),
        mouth=at(0, 1.05),
        yaw_hint=yaw,
        score=0.9,
        oval=oval,
    )


def mirrored(face: Face, width: int) -> Face:
    """The face in the picture of `width` px flipped left to right (the eyes change names)."""

    def flip(p: Point) -> Point:
        return width - 1 - p[0], p[1]

    x, y, w, h = face.box
    return replace(
        face,
        box=(width - 1 - x - w, y, w, h),
        right_eye=flip(face.left_eye),
        left_eye=flip(face.right_eye),
        roll_deg=-face.roll_deg,
        chin=flip(face.chin),
        forehead=flip(face.forehead),
        mouth=flip(face.mouth),
        yaw_hint=-face.yaw_hint,
        oval=tuple(flip(p) for p in face.oval),
    )
