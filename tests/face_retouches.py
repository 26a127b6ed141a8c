"""What retouchers do to a face whose place is known, on (h, w, 3) uint8 pixels: honest work, and what no longer is."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from galleries.imaging.comparing.shape_change import LEFT_WING, RIGHT_WING
from galleries.imaging.face import models
from galleries.imaging.face.faces import Face
from tests import retouches

Pixels = Any
Retouch = Callable[[Pixels, Face], Pixels]


def _bytes(values: Any) -> Pixels:
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def _skin(rgb: Pixels, face: Face, soft: float) -> Any:
    """1 on the skin of the face, 0 elsewhere and on eyes and mouth, with a soft edge; (h, w, 1)."""
    mask = np.zeros(rgb.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(np.array(face.oval)).astype(np.int32)], 1)
    for (x, y), share in ((face.right_eye, 0.28), (face.left_eye, 0.28), (face.mouth, 0.32)):
        cv2.circle(mask, (round(x), round(y)), round(share * face.eye_distance), 0, -1)
    return cv2.GaussianBlur(mask.astype(np.float32), (0, 0), soft)[..., None]


def _irises(rgb: Pixels, face: Face) -> Any:
    mask = np.zeros(rgb.shape[:2], np.float32)
    for eye, radius, lid in (
        (face.right_eye, face.iris_radius_right, face.right_lid),
        (face.left_eye, face.iris_radius_left, face.left_lid),
    ):
        disc, open_part = np.zeros(mask.shape, np.uint8), np.zeros(mask.shape, np.uint8)
        cv2.circle(disc, (round(eye[0]), round(eye[1])), round(radius), 1, -1)
        cv2.fillPoly(open_part, [np.rint(np.array(lid)).astype(np.int32)], 1)
        mask += disc & open_part
    return cv2.GaussianBlur(mask, (0, 0), 1.2)[..., None]


def _lab(rgb: Pixels) -> Any:
    return cv2.cvtColor(rgb.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)


def _rgb(lab: Any) -> Pixels:
    return _bytes(cv2.cvtColor(lab.astype(np.float32), cv2.COLOR_LAB2RGB) * 255)


def _moved(rgb: Pixels, mask: Any, by: tuple[float, float, float]) -> Pixels:
    """Moved in L*a*b* where the mask is."""
    return _rgb(_lab(rgb) + np.array(by, np.float32) * mask)


# Honest


def dodged_and_burned(rgb: Pixels, face: Face) -> Pixels:
    h, w = rgb.shape[:2]
    rough = np.random.default_rng(5).normal(0, 1, (14, 14)).astype(np.float32)
    strokes = cv2.resize(rough, (w, h), interpolation=cv2.INTER_CUBIC)[..., None]
    return _moved(rgb, strokes * _skin(rgb, face, 12), (3, 0, 0))


def under_the_eyes(rgb: Pixels, face: Face) -> Pixels:
    d, mask = face.eye_distance, np.zeros(rgb.shape[:2], np.float32)
    for x, y in (face.right_eye, face.left_eye):
        cv2.ellipse(mask, (round(x), round(y + 0.24 * d)), (round(0.24 * d), round(0.09 * d)), 0, 0, 360, 1, -1)
    soft = cv2.GaussianBlur(mask, (0, 0), 0.04 * d)[..., None]
    half = rgb * (1 - 0.5 * soft) + cv2.GaussianBlur(rgb, (0, 0), 0.025 * d) * 0.5 * soft
    return _moved(_bytes(half), soft, (5, -1, 1))


def grained(rgb: Pixels, face: Face) -> Pixels:
    return _bytes(rgb + np.random.default_rng(2).normal(0, 5, rgb.shape[:2])[..., None])


def mildly_smoothed(rgb: Pixels, face: Face) -> Pixels:
    """A third of an even skin laid over it."""
    mask = 0.35 * _skin(rgb, face, 6)
    return _bytes(rgb * (1 - mask) + cv2.bilateralFilter(rgb, 9, 30, 9) * mask)


def spots_healed(rgb: Pixels, face: Face) -> Pixels:
    spots, chance = np.zeros(rgb.shape[:2], np.uint8), np.random.default_rng(3)
    x, y, w, h = face.box
    for _ in range(25):
        at = int(x + w * chance.uniform(0.15, 0.85)), int(y + h * chance.uniform(0.1, 0.95))
        cv2.circle(spots, at, max(2, round(0.011 * w)), 255, -1)
    return cv2.inpaint(rgb, spots, 4, cv2.INPAINT_TELEA)


def eyes_brightened(rgb: Pixels, face: Face) -> Pixels:
    return _moved(rgb, _irises(rgb, face), (6, 0, 0))


def graded(rgb: Pixels, face: Face) -> Pixels:
    return _bytes(255 * (rgb / 255.0) ** 0.85 * np.array([1.04, 1.0, 0.94]))


def graded_cool(rgb: Pixels, face: Face) -> Pixels:
    x = rgb / 255.0
    x = 0.5 * x + 0.5 * x * x * (3 - 2 * x)
    grey = x.mean(axis=2, keepdims=True)
    return _bytes(255 * (grey + 0.85 * (x - grey)) * np.array([0.97, 1.0, 1.03]))


def darkened_corners(rgb: Pixels, face: Face) -> Pixels:
    h, w = rgb.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w]
    away = np.minimum(1, np.hypot((xx - w / 2) / w, (yy - h / 2) / h) / 0.7)
    return _bytes(rgb * (1 - 0.35 * away**2)[..., None])


def honest_all(rgb: Pixels, face: Face) -> Pixels:
    for one in (mildly_smoothed, spots_healed, under_the_eyes, dodged_and_burned, graded):
        rgb = one(rgb, face)
    return retouches.jpeg_again(retouches.cropped(rgb), 85)


def _faceless(work: Callable[[Pixels], Pixels]) -> Retouch:
    return lambda rgb, _face: work(rgb)


HONEST: dict[str, Retouch] = {
    **{one.__name__: _faceless(one) for one in (
        retouches.warm, retouches.contrast, retouches.grey, retouches.cropped, retouches.turned, retouches.smaller,
        retouches.jpeg_again,
    )},
    **{one.__name__: one for one in (
        dodged_and_burned, under_the_eyes, grained, mildly_smoothed, spots_healed, eyes_brightened, graded, graded_cool,
        darkened_corners, honest_all,
    )},
}  # fmt: skip


# No longer the person


def blurred_skin(rgb: Pixels, face: Face, share: float = 0.012) -> Pixels:
    """Skin blurred by a Gaussian of `share` of the face's width."""
    mask = _skin(rgb, face, 4)
    return _bytes(rgb * (1 - mask) + cv2.GaussianBlur(rgb, (0, 0), share * face.box[2]) * mask)


def even_skin(rgb: Pixels, face: Face) -> Pixels:
    """Edges kept, pores gone."""
    mask = _skin(rgb, face, 4)
    return _bytes(rgb * (1 - mask) + cv2.bilateralFilter(rgb, 15, 60, 15) * mask)


def blurred_then_grained(rgb: Pixels, face: Face) -> Pixels:
    return grained(blurred_skin(rgb, face), face)


def lighter_skin(rgb: Pixels, face: Face) -> Pixels:
    return _moved(rgb, _skin(rgb, face, 12), (10, 0, 0))


def darker_skin(rgb: Pixels, face: Face) -> Pixels:
    return _moved(rgb, _skin(rgb, face, 12), (-12, 0, 0))


def lighter_skin_graded(rgb: Pixels, face: Face) -> Pixels:
    return graded(lighter_skin(rgb, face), face)


def other_eyes(rgb: Pixels, face: Face) -> Pixels:
    """Irises blue, or brown where they are blue; six tenths of it, their own drawing kept."""
    mask, lab = _irises(rgb, face)[..., 0], _lab(rgb)
    own = np.median(lab[mask > 0.8], axis=0)
    blue, brown = (-8.0, -22.0), (8.0, 22.0)
    to = brown if math.dist(own[1:], blue) < 15 else blue
    for channel, value in zip((1, 2), to, strict=True):
        lab[..., channel] += 0.6 * mask * (value - lab[..., channel])
    return _rgb(lab)


def squeezed(rgb: Pixels, at: tuple[float, float], reach: tuple[float, float], by: float, whole: float = 0.5) -> Pixels:
    """Made narrower by the share `by` about a point: as a whole within `whole` of `reach`, fading off towards it."""
    h, w = rgb.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    away = np.hypot((xx - at[0]) / reach[0], (yy - at[1]) / reach[1])
    amount = np.clip((1 - away) / (1 - whole), 0, 1)
    amount = amount * amount * (3 - 2 * amount)
    source = at[0] + (xx - at[0]) * (1 + amount * (1 / (1 - by) - 1))
    return cv2.remap(rgb, source.astype(np.float32), yy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def narrower_face(rgb: Pixels, face: Face, by: float) -> Pixels:
    x, y, w, h = face.box
    return squeezed(rgb, (x + w / 2, y + h / 2), (0.95 * w, 0.95 * h), by, 0.55)


def pushed_cheeks(rgb: Pixels, face: Face, by: float) -> Pixels:
    """The whole face made narrower by two wide pushes from its sides."""
    x, _y, w, _h = face.box
    height = face.eye_middle[1] + 0.3 * (face.chin[1] - face.eye_middle[1])
    push = by * w / 2
    return retouches.pushed(rgb, [(x, height, push, 0), (x + w, height, -push, 0)], 0.3 * w)


def _wings(rgb: Pixels, face: Face) -> tuple[Any, Any]:
    x, y, w, h = face.box
    points, _ = models.mesh(rgb, (x + w / 2, y + h / 2), 1.5 * max(w, h), math.radians(face.roll_deg))
    return points[RIGHT_WING[0], :2], points[LEFT_WING[0], :2]


def narrower_nose(rgb: Pixels, face: Face, by: float) -> Pixels:
    right, left = _wings(rgb, face)
    width = float(np.hypot(*(left - right)))
    middle = (right + left) / 2
    return squeezed(rgb, (float(middle[0]), float(middle[1])), (1.1 * width, 1.2 * width), by)


def pushed_nose(rgb: Pixels, face: Face, by: float) -> Pixels:
    right, left = _wings(rgb, face)
    push = by * float(left[0] - right[0]) / 2
    moves = [(float(right[0]), float(right[1]), push, 0.0), (float(left[0]), float(left[1]), -push, 0.0)]
    return retouches.pushed(rgb, moves, 0.3 * float(left[0] - right[0]))


def other_chin(rgb: Pixels, face: Face, by: float) -> Pixels:
    lower = face.chin[1] - face.eye_middle[1]
    return retouches.pushed(rgb, [(*face.chin, 0, by * lower)], 0.4 * face.eye_distance)


def larger_eyes(rgb: Pixels, face: Face, by: float) -> Pixels:
    for eye in (face.right_eye, face.left_eye):
        rgb = retouches.grown(rgb, eye, 0.45 * face.eye_distance, by)
    return rgb


def _by(work: Callable[[Pixels, Face, float], Pixels], amount: float) -> Retouch:
    return lambda rgb, face: work(rgb, face, amount)


# Name → what is done, and the kinds of `amounts.KIND` of which one must be told.
UNTRUE: dict[str, tuple[Retouch, tuple[str, ...]]] = {
    "skin blurred, 0.8 % of the face": (_by(blurred_skin, 0.008), ("texture",)),
    "skin blurred, 2 % of the face": (_by(blurred_skin, 0.02), ("texture",)),
    "skin evened, edges kept": (even_skin, ("texture",)),
    "skin blurred, then grain": (blurred_then_grained, ("texture",)),
    "irises another colour": (other_eyes, ("irises",)),
    "skin 10 L* lighter": (lighter_skin, ("skin",)),
    "skin 12 L* darker": (darker_skin, ("skin",)),
    "skin 10 L* lighter, then a grade": (lighter_skin_graded, ("skin",)),
    "nose 8 % narrower": (_by(narrower_nose, 0.08), ("nose",)),
    "nose 8 % narrower by pushes": (_by(pushed_nose, 0.08), ("nose",)),
    "nose 15 % narrower": (_by(narrower_nose, 0.15), ("nose",)),
    "chin 3 % shorter": (_by(other_chin, -0.03), ("chin",)),
    "chin 3 % longer": (_by(other_chin, 0.03), ("chin",)),
    "face 4 % narrower": (_by(narrower_face, 0.04), ("width",)),
    "face 4 % narrower by pushes": (_by(pushed_cheeks, 0.04), ("width",)),
    "face 8 % narrower": (_by(narrower_face, 0.08), ("width",)),
    "eyes 4 % larger": (_by(larger_eyes, 0.04), ("eyes",)),
}
