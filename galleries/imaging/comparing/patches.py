"""A version laid over its frame: the face and its surround of both at one measuring size, and both whole and small.

The similarity comes from `match.overlay`; what is left inside the face is read as optical flow. A version is never
stretched while it is laid over, so a face made narrower stays narrower.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.colour import convert
from galleries.imaging.comparing import match
from galleries.imaging.face import models
from galleries.imaging.face.faces import Face
from galleries.imaging.opening import decode
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.imaging.output import resize

EYE_DISTANCE = 160.0  # pixels between the eyes while measuring
READ_SIDE = 2048
WIDE_SIDE = 256  # of the whole frame, for what the picture's colours did outside the face
_PRESENCE = 0.5


@dataclass(frozen=True)
class Open:
    """A picture open for comparing: sRGB (h, w, 3) uint8, and its scale to the upright full picture."""

    rgb: Pixels
    scale: float


@dataclass(frozen=True)
class Patches:
    """`here` of the frame and `there` of the version, (h, w, 3) uint8; `inside`: where the version has pixels.

    `face` and `mesh` ((468, 2), None where none is read) in the patch's pixels; `flow` (h, w, 2) where each pixel of
    the frame has gone. `wide_*`: the same of the whole frame. `fineness`: real pixels of the coarser of both for each
    pixel of the patch, 1 at most. `to_patch` takes the frame's open pixels to the patch's; `frame_size` (width, height)
    of these; `from_version` (3, 3) the version's to the patch's, `version_size`.
    """

    here: Pixels
    there: Pixels
    inside: NDArray[np.bool_]
    face: Face
    mesh: Floats | None
    flow: Floats
    wide_here: Pixels
    wide_there: Pixels
    wide_inside: NDArray[np.bool_]
    wide_face: Face
    fineness: float
    to_patch: Floats
    frame_size: tuple[int, int]
    from_version: Floats
    version_size: tuple[int, int]

    def place(self, x: float, y: float, width: float, height: float) -> tuple[float, float, float, float]:
        """A rectangle of the patch as shares of the frame (x, y, width, height), cut to it."""
        scale, (w, h) = float(self.to_patch[0, 0]), self.frame_size
        left, top = (x - self.to_patch[0, 2]) / scale / w, (y - self.to_patch[1, 2]) / scale / h
        right, bottom = left + width / scale / w, top + height / scale / h
        left, top, right, bottom = (min(max(float(v), 0.0), 1.0) for v in (left, top, right, bottom))
        return round(left, 4), round(top, 4), round(right - left, 4), round(bottom - top, 4)

    def place_on_version(self, x: float, y: float, width: float, height: float) -> tuple[float, float, float, float]:
        """As `place`, of the version: the upright rectangle round where the corners lie there."""
        corners = np.array([[x, y, 1], [x + width, y, 1], [x, y + height, 1], [x + width, y + height, 1]])
        there = (corners @ np.linalg.inv(self.from_version).T)[:, :2] / self.version_size
        low, high = np.clip(there.min(axis=0), 0, 1), np.clip(there.max(axis=0), 0, 1)
        values = (low[0], low[1], high[0] - low[0], high[1] - low[1])
        return tuple(round(float(value), 4) for value in values)  # type: ignore[return-value]


def open_picture(source: bytes | Path, limits: Limits = DEFAULT_LIMITS) -> Open:
    """Open for measuring. Raises as `decode.open_picture`."""
    picture = decode.open_picture(source, limits, at_least=READ_SIDE)
    width, height = resize.fit_within(picture.facts.width, picture.facts.height, READ_SIDE)
    pixels = resize.resize_to(picture.pixels, width, height)
    rgb = convert.between_profiles(pixels, picture.profile, convert.srgb_profile(), 8)
    return Open(np.ascontiguousarray(rgb), width / picture.facts.width)


def lay_over(frame: Open, version: Open, face: Face) -> Patches | None:
    """`face` in the frame's open pixels; None where the two cannot be laid over each other or the face is outside."""
    grey = [np.asarray(cv2.cvtColor(item.rgb, cv2.COLOR_RGB2GRAY), np.uint8) for item in (frame, version)]
    matrix = similarity(grey[0], grey[1])
    if matrix is None:
        return None
    scale = EYE_DISTANCE / face.eye_distance
    x, y, w, h = face.box
    left, top = x - 0.45 * w, y - 0.45 * h
    size = (math.ceil(1.9 * w * scale), math.ceil(1.9 * h * scale))
    to_patch = np.array([[scale, 0, -left * scale], [0, scale, -top * scale], [0, 0, 1]])
    full = np.vstack([matrix, [0, 0, 1]])
    here, there = cut(frame.rgb, to_patch, size), cut(version.rgb, to_patch @ full, size)
    inside = cut(np.full(version.rgb.shape[:2], 255, np.uint8), to_patch @ full, size) == 255
    at = mapped(face, to_patch)
    if not _covered(inside, at):
        return None
    shrink = min(1.0, WIDE_SIDE / max(frame.rgb.shape[:2]))
    to_wide = np.diag([shrink, shrink, 1.0])
    wide = (max(1, round(shrink * frame.rgb.shape[1])), max(1, round(shrink * frame.rgb.shape[0])))
    whole = np.full(version.rgb.shape[:2], 255, np.uint8)
    coarser = min(1.0, 1 / math.hypot(full[0, 0], full[1, 0]))
    return Patches(
        here, there, inside, at, _mesh(here, at), optical_flow(_grey(here), _grey(there)),
        cut(frame.rgb, to_wide, wide), cut(version.rgb, to_wide @ full, wide),
        cut(whole, to_wide @ full, wide) == 255, mapped(face, to_wide),
        min(1.0, coarser / scale), to_patch, (frame.rgb.shape[1], frame.rgb.shape[0]),
        to_patch @ full, (version.rgb.shape[1], version.rgb.shape[0]),
    )  # fmt: skip


def _grey(rgb: Pixels) -> match.Grey:
    return np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def _covered(inside: NDArray[np.bool_], face: Face) -> bool:
    """Whether the version shows nearly all of the face."""
    x, y, w, h = (round(value) for value in face.box)
    part = inside[max(0, y) : y + h, max(0, x) : x + w]
    return part.size > 0 and float(part.mean()) > 0.85


def _mesh(rgb: Pixels, face: Face) -> Floats | None:
    x, y, w, h = face.box
    middle, side = (x + w / 2, y + h / 2), 1.5 * max(w, h)
    points, presence = models.mesh(rgb, middle, side, math.radians(face.roll_deg))
    return points[:, :2] if presence >= _PRESENCE else None


def similarity(frame: match.Grey, version: match.Grey) -> Floats | None:
    """The similarity (2, 3) that takes the version's pixels to the frame's; None when they are not of one exposure.

    Where features leave it to be refined, `match` stretches a little: of that only turn, scale and shift are kept.
    """
    a, b = (_factor(grey, match.LONG_SIDE) for grey in (frame, version))
    overlay = match.overlay(match.Small(_fit(frame), a), match.Small(_fit(version), b))
    if overlay is None or overlay.likeness < match.OTHER:
        return None
    up = np.array([[1 / a, 0, 0.5 / a - 0.5], [0, 1 / a, 0.5 / a - 0.5], [0, 0, 1]])
    down = np.array([[b, 0, 0.5 * b - 0.5], [0, b, 0.5 * b - 0.5], [0, 0, 1]])
    full: Floats = (up @ np.vstack([overlay.matrix, [0, 0, 1]]) @ down)[:2]
    c, s = (full[0, 0] + full[1, 1]) / 2, (full[1, 0] - full[0, 1]) / 2
    even = np.array([[c, -s], [s, c]])
    middle = np.array([version.shape[1] / 2, version.shape[0] / 2])
    return np.hstack([even, (full[:, :2] @ middle + full[:, 2] - even @ middle)[:, None]])


def _factor(grey: match.Grey, long_side: int) -> float:
    width: int = grey.shape[1]
    return resize.fit_within(width, grey.shape[0], long_side)[0] / width


def _fit(grey: match.Grey, long_side: int = match.LONG_SIDE) -> match.Grey:
    size = resize.fit_within(grey.shape[1], grey.shape[0], long_side)
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def cut(pixels: NDArray[np.uint8], matrix: Floats, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Pixels seen through a similarity at `size` (width, height); smoothed first where they shrink: nothing aliases."""
    shrink = math.hypot(matrix[0, 0], matrix[1, 0])
    if shrink < 0.7:
        pixels = np.asarray(cv2.GaussianBlur(pixels, (0, 0), 0.4 / shrink), np.uint8)
    return np.asarray(cv2.warpAffine(pixels, matrix[:2], size, flags=cv2.INTER_LINEAR), np.uint8)


def mapped(face: Face, matrix: Floats) -> Face:
    """The face seen through a scale and shift of pixel middles."""
    scale = float(matrix[0, 0])
    shift = (scale - 1) / 2  # `scaled` keeps pixel middles, the matrix does not
    return face.scaled(scale).moved(float(matrix[0, 2]) - shift, float(matrix[1, 2]) - shift)


def optical_flow(here: match.Grey, there: match.Grey) -> Floats:
    """Where each pixel of the frame has gone in the version, (h, w, 2) pixels."""
    even = cv2.createCLAHE(3.0, (6, 6))
    search = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    search.setFinestScale(0)
    search.setVariationalRefinementIterations(10)
    still = np.zeros((*here.shape, 2), np.float32)
    return np.asarray(search.calc(even.apply(here), even.apply(there), still), np.float64)
