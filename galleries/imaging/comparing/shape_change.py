"""Did a retouch change the shape of the face? A headshot must look like the person who walks in.

The version is laid over its frame (`patches`), what moves the surround of the face as well is taken off, and the
optical flow that is left inside the face is read: an unchanged face has none. Measured are the size of eyes and mouth,
the width of the nose, of the face at cheeks and jaw and of the whole face against its own height, and its height down
to the chin, each as a share of itself. Geometry only, nothing about identity.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.comparing.patches import EYE_DISTANCE, Patches
from galleries.imaging.face.faces import Face, Point

Grey = NDArray[np.uint8]

# Points of the mesh on the wings of the nose, the person's right and left, outermost first.
RIGHT_WING, LEFT_WING = (129, 48, 64, 98), (358, 278, 294, 327)
_MOST_POINTS = 6000


@dataclass(frozen=True)
class ShapeChange:
    """Relative changes, +0.05 = 5 % larger, wider or longer than in the frame.

    `face`: its width against its own height, so that it also tells a whole head made narrower, hair and all.
    `nose` is None where the mesh was not read.
    """

    eyes: float
    mouth: float
    nose: float | None
    face: float
    cheeks: float
    jaw: float
    chin: float


def shape_change(patches: Patches) -> ShapeChange:
    """The changes of shape between the two patches."""
    here = np.asarray(cv2.cvtColor(patches.here, cv2.COLOR_RGB2GRAY), np.uint8)
    flow = _without_drift(patches.flow, here, patches.face, patches.inside)
    face = _aspect(flow, here, patches)
    nose = _nose(flow, patches.mesh, face) if patches.mesh is not None else None
    return _measure(flow, patches.face, nose, face)


def _nose(flow: Floats, mesh: Floats, face: float) -> float:
    """Change of the nose's width at its wings, less what the whole face became narrower."""
    sides = [float(np.mean([_at(flow, tuple(mesh[i]), 3)[0] for i in wing])) for wing in (RIGHT_WING, LEFT_WING)]
    width = float(np.hypot(*(mesh[LEFT_WING[0]] - mesh[RIGHT_WING[0]])))
    return (sides[1] - sides[0]) / max(1.0, width) - min(0.0, face)


def _aspect(flow: Floats, here: Grey, patches: Patches) -> float:
    """Change of the face's width against its height: an affine fitted to the flow inside it (Huber's weights)."""
    face = patches.face
    outline = np.array(face.oval or _ring(face.eye_middle, EYE_DISTANCE, 1.3 * EYE_DISTANCE), np.float64)
    middle = outline.mean(axis=0)
    inside = np.zeros(here.shape, np.uint8)
    cv2.fillPoly(inside, [np.rint(middle + 1.05 * (outline - middle)).astype(np.int32)], 1)
    ys, xs = np.nonzero((inside > 0) & _texture(here) & patches.inside)
    if len(xs) < 200:
        return 0.0
    pick = np.linspace(0, len(xs) - 1, min(_MOST_POINTS, len(xs))).astype(int)
    ys, xs = ys[pick], xs[pick]
    roll = math.radians(face.roll_deg)
    along, across = np.array([math.cos(roll), math.sin(roll)]), np.array([-math.sin(roll), math.cos(roll)])
    away = np.stack([xs, ys], axis=1) - middle
    base = np.stack([away @ along, away @ across, np.ones(len(xs))], axis=1)
    wider = _robust(base, flow[ys, xs] @ along)[0]
    longer = _robust(base, flow[ys, xs] @ across)[1]
    return float((1 + wider) / (1 + longer) - 1)


def _robust(base: Floats, values: Floats) -> Floats:
    weight = np.ones(len(values))
    for _ in range(8):
        numbers = np.linalg.lstsq(base * weight[:, None], values * weight, rcond=None)[0]
        off = np.abs(values - base @ numbers)
        weight = np.sqrt(np.minimum(1.0, (1.5 * np.median(off) + 1e-3) / np.maximum(off, 1e-6)))
    return np.asarray(numbers, np.float64)


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


def _measure(flow: Floats, face: Face, nose: float | None = None, aspect: float = 0.0) -> ShapeChange:
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
    chin = down / max(1.0, high - low)
    return ShapeChange(float(np.mean(eyes)), mouth, nose, aspect, widths["cheeks"], widths["jaw"], chin)


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
