"""Everything the program reads from a frame, as numbers that can be stored.

What cannot be known is None with a reason in `unknown`; nothing is guessed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.face import eyes, lids, tones
from galleries.imaging.face.eyes import CatchLight, Eye
from galleries.imaging.face.faces import Face, FaceFinding, closer, find_faces, find_small_faces
from galleries.imaging.face.hashes import hash_text, perceptual_hash
from galleries.imaging.face.models import halved, shrunk
from galleries.imaging.versions import READER_VERSION
from galleries.told import Told, told

Lab = tuple[float, float, float]

LOOK_SIDE = 1024  # the face is looked for in a copy of about this long side
_TONE_SIDE = 256
_CLOSE_UNDER = 48.0  # px between the eyes in that copy, under which they are read from a larger one
_PROFILE_YAW = 0.75
_SOFT_RATIO = 0.42
_SOFT = 0.20  # sharpness at half size or larger; painted frames: 0.32 and more sharp, 0.13 and less soft


@dataclass(frozen=True)
class FrameReading:
    """One frame read. Coordinates are pixels of the oriented full frame, (0, 0) the middle of the first pixel.

    sharpness: 1 over the width, in pixels of the picture read (`read_scale` of full size), of the sharpest edge at
    the nearer eye; detail: the same for the frame's sharpest places; sharpness_ratio: one over the other; fine_detail:
    dB, see `eyes.fine_detail`; soft: by this frame alone, the eye is far behind the frame (focus missed), or its edges
    are over 5 px wide (the whole frame is soft); beside others of its look `sorting.eyes.is_soft` decides.
    reflex_distance: from the middle of the iris to the upper lid over the eye's width (`lids.reflex_distance`), of the
    eye whose lid is lower.
    catch lights and pupil ratio are per eye (the subject's own right and left). light_x and light_y: stops by
    which the picture-right and the upper half of the face are brighter; light_clock: where the light comes from.
    """

    width: int
    height: int
    read_scale: float
    face: Face | None
    face_reason: Told
    others: tuple[Face, ...] = ()
    nearer_eye: str | None = None
    sharpness: float | None = None
    detail: float | None = None
    sharpness_ratio: float | None = None
    fine_detail: float | None = None
    soft: bool | None = None
    catch_lights_right: tuple[CatchLight, ...] | None = None
    catch_lights_left: tuple[CatchLight, ...] | None = None
    reflex_distance: float | None = None
    pupil_ratio_right: float | None = None
    pupil_ratio_left: float | None = None
    face_l: float | None = None
    clipped_high: float | None = None
    clipped_low: float | None = None
    skin_ab: tuple[float, float] | None = None
    light_x: float | None = None
    light_y: float | None = None
    light_contrast: float | None = None
    light_clock: int | None = None
    backdrop_lab: Lab | None = None
    wardrobe_lab: Lab | None = None
    monochrome: bool = False
    hash: str = ""
    unknown: dict[str, Told] = field(default_factory=dict)
    reader_version: int = READER_VERSION

    @property
    def openness(self) -> float | None:
        """Of the less open eye that could be read; None when neither could."""
        lids = [o for o in (self.right_openness, self.left_openness) if o is not None]
        return min(lids) if lids else None

    @property
    def right_openness(self) -> float | None:
        return self.face.right_openness if self.face else None

    @property
    def left_openness(self) -> float | None:
        return self.face.left_openness if self.face else None

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON; `from_dict` is its inverse."""
        values = dict(self.__dict__)
        values["face"] = self.face.as_dict() if self.face else None
        values["others"] = [other.as_dict() for other in self.others]
        for name in ("catch_lights_right", "catch_lights_left"):
            if values[name] is not None:
                values[name] = [dict(light.__dict__) for light in values[name]]
        for name in ("skin_ab", "backdrop_lab", "wardrobe_lab"):
            if values[name] is not None:
                values[name] = list(values[name])
        values["face_reason"] = self.face_reason.as_dict()
        values["unknown"] = {name: why.as_dict() for name, why in self.unknown.items()}
        return values

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> FrameReading:
        """The inverse of `as_dict`; unknown keys are ignored, so newer readings can be read."""
        known = {k: v for k, v in values.items() if k in cls.__dataclass_fields__}
        known["face"] = Face.from_dict(known["face"]) if known.get("face") else None
        known["others"] = tuple(Face.from_dict(other) for other in known.get("others", ()))
        for name in ("catch_lights_right", "catch_lights_left"):
            if known.get(name) is not None:
                known[name] = tuple(CatchLight(**light) for light in known[name])
        for name in ("skin_ab", "backdrop_lab", "wardrobe_lab"):
            if known.get(name) is not None:
                known[name] = tuple(known[name])
        known["face_reason"] = Told.from_stored(known.get("face_reason", ""))
        known["unknown"] = {name: Told.from_stored(why) for name, why in (known.get("unknown") or {}).items()}
        return cls(**known)


def _shrunk(rgb: Pixels, side: int, half: Pixels | None = None) -> Pixels:
    """A copy with its long side near `side` (a whole reduction first: far faster). `half`: see `models.shrunk`."""
    factor = max(rgb.shape[:2]) / side
    if factor <= 1:
        return rgb
    whole = int(factor)
    if whole >= 2:
        width, height = max(1, rgb.shape[1] // whole), max(1, rgb.shape[0] // whole)
        return shrunk(rgb[: height * whole, : width * whole], width, height, half)
    return shrunk(rgb, max(1, round(rgb.shape[1] / factor)), max(1, round(rgb.shape[0] / factor)))


def read_pixels(
    rgb: Pixels,
    scale: float = 1.0,
    *,
    full_size: tuple[int, int] | None = None,
    fine: Pixels | None = None,
    fine_scale: float = 1.0,
    look: Pixels | None = None,
) -> FrameReading:
    """Read one frame.

    rgb: the oriented frame in sRGB, uint8 (height, width, 3), at `scale` of its full size; about 1000 px on the
    long side suffice for face and colours. full_size: exact (width, height) of the oriented full frame, where
    `scale` was rounded. `fine`, the same frame at `fine_scale` in any RGB profile, is used for sharpness, catch
    lights and pupils when it is larger. Raises ValueError for another shape or type.
    """
    width, height = full_size or (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    scale = rgb.shape[1] / width
    look = _shrunk(rgb[:, :], LOOK_SIDE) if look is None else look
    half = halved(look) if min(look.shape[:2]) > 1 else None
    close, close_scale = (rgb, scale) if fine is None or fine.shape[1] <= rgb.shape[1] else (fine, fine_scale)
    to_full = rgb.shape[1] / look.shape[1] / scale
    finding = _look_closer(find_faces(look, half), look, rgb, close, to_full * close_scale)
    tone = _shrunk(look, _TONE_SIDE, half)
    lab = tones.to_lab(tone)
    face, tiles = finding.face, eyes.tiles_of(close)
    small_face = face.scaled(tone.shape[1] / look.shape[1]) if face else None
    reading = FrameReading(
        width=width,
        height=height,
        read_scale=round(close_scale, 6),
        face=None,
        face_reason=finding.reason,
        detail=_rounded(eyes.frame_detail(close, tiles)),
        fine_detail=_rounded(eyes.fine_detail(close, tiles)),
        monochrome=tones.is_monochrome(lab),
        hash=hash_text(perceptual_hash(tone)),
        backdrop_lab=tones.middle_lab(lab, tones.backdrop_mask(tone.shape, small_face)),
    )
    if face is None or small_face is None:
        return replace(reading, unknown=_no_face(reading))
    full = face.scaled(to_full)
    others = tuple(replace(o.scaled(to_full), oval=(), right_lid=(), left_lid=()) for o in finding.others)
    unknown: dict[str, Told] = {}
    if reading.backdrop_lab is None:
        unknown["backdrop_lab"] = told(Code.UNKNOWN_FILLED)
    shaded = tones.dark_glasses(lab, small_face)
    full = _readable_lids(full, shaded, unknown)
    reading = replace(reading, face=full, others=others)
    reading = _with_tones(reading, tone, lab, small_face, unknown)
    reading = _with_eyes(reading, close, close_scale, shaded, unknown)
    return replace(reading, unknown=unknown)


def _look_closer(finding: FaceFinding, look: Pixels, rgb: Pixels, close: Pixels, scale: float) -> FaceFinding:
    """Where a face is small or none was seen, what the larger pictures say; in the pixels of `look`.

    `scale`: how many times as large `close` is as `look`.
    """
    if finding.face is None and rgb.shape[1] > look.shape[1]:
        small = find_small_faces(rgb[:, :])
        finding = small.scaled(look.shape[1] / rgb.shape[1]) if small.face else finding
    face = finding.face
    if face is None or face.eye_distance >= _CLOSE_UNDER or close.shape[1] <= look.shape[1]:
        return finding
    again = closer(face, close, scale)
    return replace(finding, face=again) if again is not None else finding


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)


def _no_face(reading: FrameReading) -> dict[str, Told]:
    names = (
        "right_openness left_openness sharpness sharpness_ratio soft catch_lights_right catch_lights_left "
        "pupil_ratio_right pupil_ratio_left face_l skin_ab light wardrobe_lab"
    )
    unknown = dict.fromkeys(names.split(), told(Code.UNKNOWN_NO_FACE))
    if reading.backdrop_lab is None:
        unknown["backdrop_lab"] = told(Code.UNKNOWN_SMALL_FRAME)
    return unknown


def _readable_lids(face: Face, shaded: bool, unknown: dict[str, Told]) -> Face:
    """Drop the openness of eyes that cannot be seen."""
    hidden: dict[str, Told] = {}
    if shaded:
        hidden = dict.fromkeys(("right_openness", "left_openness"), told(Code.UNKNOWN_SHADED))
    elif face.yaw_hint > _PROFILE_YAW:
        hidden = {"left_openness": told(Code.UNKNOWN_TURNED)}
    elif face.yaw_hint < -_PROFILE_YAW:
        hidden = {"right_openness": told(Code.UNKNOWN_TURNED)}
    unknown.update(hidden)
    if "right_openness" in hidden:
        face = replace(face, right_openness=None)
    if "left_openness" in hidden:
        face = replace(face, left_openness=None)
    return face


def _with_tones(
    reading: FrameReading, tone: Pixels, lab: NDArray[np.float32], face: Face, unknown: dict[str, Told]
) -> FrameReading:
    face_tones = tones.face_tones(tone, lab, face)
    if face_tones is None:
        unknown.update(dict.fromkeys(("face_l", "skin_ab", "light"), told(Code.UNKNOWN_SMALL_FACE)))
        return reading
    skin = (face_tones.median_l, *face_tones.skin_ab)
    wardrobe = tones.wardrobe_lab(lab, face, skin, reading.backdrop_lab)
    if wardrobe is None:
        unknown["wardrobe_lab"] = told(Code.UNKNOWN_NO_CHEST)
    if reading.monochrome:
        unknown["skin_ab"] = told(Code.UNKNOWN_MONOCHROME)
    contrast = math.hypot(face_tones.light_x, face_tones.light_y)
    return replace(
        reading,
        face_l=face_tones.median_l,
        clipped_high=face_tones.clipped_high,
        clipped_low=face_tones.clipped_low,
        skin_ab=None if reading.monochrome else face_tones.skin_ab,
        light_x=face_tones.light_x,
        light_y=face_tones.light_y,
        light_contrast=round(contrast, 3),
        light_clock=eyes.clock_hour(face_tones.light_x, face_tones.light_y) if contrast > 0.15 else None,
        wardrobe_lab=wardrobe,
    )


def _with_eyes(
    reading: FrameReading, close: Pixels, scale: float, shaded: bool, unknown: dict[str, Told]
) -> FrameReading:
    """Sharpness at the nearer eye, catch lights and pupils, from the largest picture at hand."""
    face = reading.face
    if face is None:
        return reading
    near = face.scaled(scale)
    pair = {
        "right": Eye(near.right_eye, near.iris_radius_right, near.right_lid, face.right_openness),
        "left": Eye(near.left_eye, near.iris_radius_left, near.left_lid, face.left_openness),
    }
    nearer = "right" if _lid_width(pair["right"]) >= _lid_width(pair["left"]) else "left"
    values: dict[str, Any] = {"nearer_eye": nearer}
    sharp = None if shaded else eyes.eye_sharpness(close, pair[nearer])
    if sharp is None:
        why = told(Code.UNKNOWN_SHADED) if shaded else told(Code.UNKNOWN_CONTRAST)
        unknown["sharpness"] = unknown["sharpness_ratio"] = unknown["soft"] = why
    else:
        values["sharpness"] = round(sharp, 4)
        values["soft"] = sharp < _SOFT
        if reading.detail:
            ratio = sharp / reading.detail
            values["sharpness_ratio"] = round(ratio, 3)
            values["soft"] = sharp < _SOFT or ratio < _SOFT_RATIO
        else:
            unknown["sharpness_ratio"] = told(Code.UNKNOWN_DETAIL)
    reflexes = [
        distance
        for side, eye in pair.items()
        if f"{side}_openness" not in unknown
        and (distance := lids.reflex_distance(close, eye.centre, eye.radius, eye.lid)) is not None
    ]
    if reflexes:
        values["reflex_distance"] = round(min(reflexes), 4)
    pupils: dict[str, float | Told] = {}
    lights: dict[str, object] = {}
    for side, eye in pair.items():
        hidden = unknown.get(f"{side}_openness")
        lights[f"catch_lights_{side}"] = hidden or eyes.catch_lights(close, eye)
        pupils[side] = hidden or eyes.pupil_ratio(close, eye)
    right, left = eyes.agreed_pupils(pupils["right"], pupils["left"])
    for name, value in (*lights.items(), ("pupil_ratio_right", right), ("pupil_ratio_left", left)):
        if isinstance(value, Told):
            unknown[name] = value
        else:
            values[name] = value
    return replace(reading, **values)


def _lid_width(eye: Eye) -> float:
    return math.hypot(eye.lid[0][0] - eye.lid[8][0], eye.lid[0][1] - eye.lid[8][1]) if len(eye.lid) > 8 else 0.0
