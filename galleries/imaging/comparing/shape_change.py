"""Did a retouch change the shape of the face? A headshot must look like the person who walks in.

The version is laid over its frame by what lies around the face, then the optical flow that is left inside the face
is read: an unchanged face has none. Measured are the size of eyes and mouth, the width of the face at cheeks and
jaw, and its height down to the chin, each as a share of itself. Geometry only, nothing about identity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.codes import Code
from galleries.imaging.comparing import match
from galleries.imaging.face.faces import Face, Point
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.imaging.output import resize
from galleries.told import Told, told

Grey = NDArray[np.uint8]

EYE_DISTANCE = 160.0  # pixels between the eyes while measuring
READ_SIDE = 2048
# Largest change not worth a word; measured on retouches that leave the shape alone
# (tests/imaging/comparing/test_shape_change.py).
TOLERANCE = {"eyes": 0.025, "mouth": 0.040, "cheeks": 0.025, "jaw": 0.025, "chin": 0.035}


@dataclass(frozen=True)
class ShapeChange:
    """Relative changes, +0.05 = 5 % larger, wider or longer than in the frame."""

    eyes: float
    mouth: float
    cheeks: float
    jaw: float
    chin: float

    @property
    def beyond(self) -> dict[str, float]:
        """The changes over their tolerance, largest first."""
        changes = {name: getattr(self, name) for name, least in TOLERANCE.items() if abs(getattr(self, name)) > least}
        return dict(sorted(changes.items(), key=lambda item: -abs(item[1])))

    @property
    def caution(self) -> Told | None:
        """The changes over their tolerance in percent, largest first; None when the shape is as it was."""
        beyond = {f"{name}_percent": round(100 * value) for name, value in self.beyond.items()}
        return told(Code.SHAPE_CHANGED, **beyond) if beyond else None


def shape_change(
    frame: bytes | Path, version: bytes | Path, face: Face, limits: Limits = DEFAULT_LIMITS
) -> ShapeChange | None:
    """Compare a version with its frame; `face` in pixels of the upright full frame.

    None when the two cannot be laid over each other or the face is outside. Raises as `decode.open_picture`.
    """
    here, there = (match.open_small(source, limits, READ_SIDE) for source in (frame, version))
    return change_between(here, there, face.scaled(here.scale))


def change_between(frame: match.Small, version: match.Small, face: Face) -> ShapeChange | None:
    """As `shape_change`, for pictures already open; `face` in the frame's small pixels."""
    matrix = _laid(frame, version, face)
    if matrix is None:
        return None
    scale = EYE_DISTANCE / face.eye_distance
    x, y, w, h = face.box
    left, top = x - 0.45 * w, y - 0.45 * h
    size = (math.ceil(1.9 * w * scale), math.ceil(1.9 * h * scale))
    to_patch = np.array([[scale, 0, -left * scale], [0, scale, -top * scale], [0, 0, 1]])
    here = _patch(frame.grey, to_patch, size)
    full = np.vstack([matrix, [0, 0, 1]])
    there = _patch(version.grey, to_patch @ full, size)
    inside = _patch(np.full(version.grey.shape, 255, np.uint8), to_patch @ full, size) == 255
    moved = _mapped(face, to_patch)
    flow = _flow(here, there)
    flow = _without_drift(flow, here, moved, inside)
    return _measure(flow, moved)


def _laid(frame: match.Small, version: match.Small, face: Face) -> Floats | None:
    """The similarity that takes the version's pixels to the frame's, judged by what lies around the face."""
    small = [
        match.Small(_fit(item.grey, match.LONG_SIDE), item.scale * _factor(item.grey, match.LONG_SIDE))
        for item in (frame, version)
    ]
    overlay = match.overlay(small[0], small[1])
    if overlay is None or overlay.likeness < match.OTHER:
        return None
    a, b = (_factor(item.grey, match.LONG_SIDE) for item in (frame, version))
    up = np.array([[1 / a, 0, 0.5 / a - 0.5], [0, 1 / a, 0.5 / a - 0.5], [0, 0, 1]])
    down = np.array([[b, 0, 0.5 * b - 0.5], [0, b, 0.5 * b - 0.5], [0, 0, 1]])
    full: Floats = up @ np.vstack([overlay.matrix, [0, 0, 1]]) @ down
    return full[:2]


def _factor(grey: Grey, long_side: int) -> float:
    width: int = grey.shape[1]
    return resize.fit_within(width, grey.shape[0], long_side)[0] / width


def _fit(grey: Grey, long_side: int) -> Grey:
    size = resize.fit_within(grey.shape[1], grey.shape[0], long_side)
    return np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.uint8)


def _patch(grey: Grey, matrix: Floats, size: tuple[int, int]) -> Grey:
    """The face and its surround at measuring size; shrunk by area first, so that nothing aliases."""
    shrink = math.hypot(matrix[0, 0], matrix[1, 0])
    if shrink < 0.7:
        grey = np.asarray(cv2.GaussianBlur(grey, (0, 0), 0.4 / shrink), np.uint8)
    return np.asarray(cv2.warpAffine(grey, matrix[:2], size, flags=cv2.INTER_LINEAR), np.uint8)


def _mapped(face: Face, to_patch: Floats) -> Face:
    scale = float(to_patch[0, 0])
    shift = (scale - 1) / 2  # `scaled` keeps pixel middles, the matrix does not
    return face.scaled(scale).moved(float(to_patch[0, 2]) - shift, float(to_patch[1, 2]) - shift)


def _flow(here: Grey, there: Grey) -> Floats:
    """Where each pixel of the frame has gone in the version, (h, w, 2) pixels."""
    even = cv2.createCLAHE(3.0, (6, 6))
    search = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    search.setFinestScale(0)
    search.setVariationalRefinementIterations(10)
    still = np.zeros((*here.shape, 2), np.float32)
    return np.asarray(search.calc(even.apply(here), even.apply(there), still), np.float64)


def _texture(grey: Grey) -> NDArray[np.bool_]:
    gx, gy = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    strength = cv2.GaussianBlur(gx * gx + gy * gy, (0, 0), 3)
    return np.asarray(strength > max(30.0, float(np.percentile(strength, 50))), np.bool_)


def _without_drift(flow: Floats, here: Grey, face: Face, inside: NDArray[np.bool_]) -> Floats:
    """Take off what moves the surround of the face as well: a rest of turn, scale and shift."""
    h, w = here.shape
    skin = np.zeros((h, w), np.uint8)
    outline = np.array(face.oval or [face.chin, face.forehead], np.float64)
    middle = outline.mean(axis=0)
    wide = middle + 1.08 * (outline - middle)
    cv2.fillPoly(skin, [np.round(wide).astype(np.int32)], 255)
    around = (skin == 0) & _texture(here) & inside
    if int(around.sum()) < 800:
        around = _texture(here) & inside
    ys, xs = np.nonzero(around)
    if len(xs) < 200:
        return flow
    pick = np.linspace(0, len(xs) - 1, min(4000, len(xs))).astype(int)
    source = np.stack([xs[pick], ys[pick]], axis=1).astype(np.float64)
    cv2.setRNGSeed(1)
    matrix, _ = cv2.estimateAffinePartial2D(source, source + flow[ys[pick], xs[pick]], ransacReprojThreshold=0.7)
    if matrix is None:
        return flow
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float64)
    drift = np.stack(
        [
            matrix[0, 0] * xx + matrix[0, 1] * yy + matrix[0, 2] - xx,
            matrix[1, 0] * xx + matrix[1, 1] * yy + matrix[1, 2] - yy,
        ],
        axis=2,
    )
    return np.asarray(flow - drift, np.float64)


def _at(flow: Floats, point: Point, radius: int = 5) -> Floats:
    """The middling flow about a point."""
    h, w = flow.shape[:2]
    x, y = round(min(max(point[0], 0), w - 1)), round(min(max(point[1], 0), h - 1))
    part = flow[max(0, y - radius) : y + radius + 1, max(0, x - radius) : x + radius + 1]
    return np.asarray(np.median(part.reshape(-1, 2), axis=0), np.float64)


def _stretch(flow: Floats, points: Floats) -> float:
    """Relative change of size of the region of `points`: scale of the similarity fitted to their flow."""
    moved = points + np.array([_at(flow, (p[0], p[1]), 2) for p in points])
    a, b = points - points.mean(axis=0), moved - moved.mean(axis=0)
    return float((a * b).sum() / (a * a).sum()) - 1


def _ring(middle: Point, rx: float, ry: float) -> Floats:
    turn = np.linspace(0, 2 * math.pi, 24, endpoint=False)
    return np.stack([middle[0] + rx * np.cos(turn), middle[1] + ry * np.sin(turn)], axis=1)


def _measure(flow: Floats, face: Face) -> ShapeChange:
    d = EYE_DISTANCE
    eyes = []
    for lid, eye in ((face.right_lid, face.right_eye), (face.left_lid, face.left_eye)):
        eyes.append(_stretch(flow, np.array(lid) if len(lid) >= 8 else _ring(eye, 0.2 * d, 0.1 * d)))
    mouth = _stretch(flow, _ring(face.mouth, 0.38 * d, 0.16 * d))
    oval = np.array(face.oval or _ring(face.eye_middle, d, 1.3 * d), np.float64)
    widths: dict[str, float] = {}
    low, high = face.eye_middle[1], face.chin[1]
    for name, share in (("cheeks", 0.25), ("jaw", 0.68)):
        y = low + share * (high - low)
        left, right = _sides(oval, y)
        gain = _edge(flow, right, y) - _edge(flow, left, y)
        widths[name] = gain / max(1.0, right - left)
    down = float(_at(flow, face.chin, 8)[1] - np.mean([_at(flow, face.right_eye)[1], _at(flow, face.left_eye)[1]]))
    return ShapeChange(float(np.mean(eyes)), mouth, widths["cheeks"], widths["jaw"], down / max(1.0, high - low))


def _sides(oval: Floats, y: float) -> tuple[float, float]:
    """Where the outline of the face crosses a height, left and right."""
    crossings: list[float] = []
    for one, two in zip(oval, np.roll(oval, -1, axis=0), strict=True):
        if (one[1] - y) * (two[1] - y) <= 0 and one[1] != two[1]:
            crossings.append(float(one[0] + (y - one[1]) / (two[1] - one[1]) * (two[0] - one[0])))
    if len(crossings) < 2:
        return float(oval[:, 0].min()), float(oval[:, 0].max())
    return min(crossings), max(crossings)


def _edge(flow: Floats, x: float, y: float) -> float:
    """Sideways flow of the outline near (x, y), over a short piece of it."""
    return float(np.median([_at(flow, (x, y + dy), 4)[0] for dy in range(-12, 13, 4)]))
