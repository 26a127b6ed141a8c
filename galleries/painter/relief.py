"""The head as a relief: how far the skin lies from the axis of the head, over turn and height.

Millimetres on the head: x to the picture's right, y down, z toward the camera, origin midway between the
pupils. The axis stands at (0, y, -AXIS). Proportions are the usual ones of drawing the head (from memory):
eyes at half height, the nose's base near 45 mm and the chin near 113 mm under the eyes, 63 mm between pupils.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator

from .noise import Field, bell, smoothstep
from .people import Actor

AXIS = 88.0
TURN = np.deg2rad(120.0)  # bends the table so that it is finest in the middle of the face
EDGE = 0.51
COLUMNS, ROWS = 760, 776
TOP, BOTTOM = -125.0, 130.0

_FRONT = ((-121, -92), (-116, -62), (-108, -41), (-95, -19), (-80, -5), (-65, 4), (-48, 9), (-32, 11), (-18, 10),
          (-6, 5), (8, 5), (25, 8), (44, 13), (56, 16), (66, 16), (78, 13), (86, 10.5), (98, 12), (106, 8),
          (112, -1), (116, -18), (119, -42), (122, -66), (130, -84))  # fmt: skip
_SIDE = ((-121, 2), (-116, 28), (-108, 45), (-95, 60), (-80, 69), (-62, 74), (-45, 76), (-25, 75.5), (-8, 74),
         (8, 73), (25, 71), (42, 67.5), (56, 63.5), (70, 58.5), (82, 52), (92, 45), (100, 38), (107, 31), (113, 26),
         (117, 22), (122, 20), (130, 18))  # fmt: skip


@dataclass(frozen=True)
class Mouth:
    """Curves of the mouth over x (mm): the top of the upper lip, the line between, the bottom of the lower."""

    half: float
    line: float
    smile: float
    fullness: float

    def curves(self, x: Field) -> tuple[Field, Field, Field, Field]:
        t = np.clip(np.abs(x) / self.half, 0.0, 1.0)
        corner = self.line - 0.9 - 4.8 * self.smile
        middle = self.line + (corner - self.line) * t**2 + 1.1 * np.exp(-((x / 5.0) ** 2)) * (1 - self.smile)
        taper = np.asarray(1.0 - t**2.2, np.float32)
        bow = 1.0 - 0.17 * np.exp(-((x / 3.2) ** 2)) + 0.05 * np.exp(-(((np.abs(x) - 5.5) / 3.0) ** 2))
        upper = middle - 7.3 * self.fullness * (1 - 0.18 * self.smile) * taper * bow
        lower = np.asarray(middle + 9.6 * self.fullness * (1 - 0.10 * self.smile) * (1.0 - t**2.6), np.float32)
        return upper, middle, lower, taper


def mouth_of(actor: Actor, smile: float) -> Mouth:
    return Mouth(actor.mouth + 4.6 * smile, 68.0 * actor.long - 1.0 * smile, smile, actor.lips)


@dataclass(frozen=True)
class Relief:
    """The table of the head: radius (ROWS, COLUMNS) in mm, normals and positions (ROWS, COLUMNS, 3)."""

    radius: Field
    normal: Field
    point: Field
    hollow: Field  # 1 open .. 0 deep in a crease


def columns_of(turn: Field) -> Field:
    """The (fractional) table column of an angle around the axis, radians, 0 toward the face."""
    bent = turn / (TURN + np.abs(turn))
    return np.asarray((bent / EDGE * 0.5 + 0.5) * (COLUMNS - 1), np.float32)


def rows_of(y: Field) -> Field:
    return np.asarray((y - TOP) / (BOTTOM - TOP) * (ROWS - 1), np.float32)


@lru_cache(maxsize=1)
def grid() -> tuple[Field, Field]:
    """Angle around the axis (1, COLUMNS) and height y (ROWS, 1) of the table's cells."""
    bent = np.linspace(-EDGE, EDGE, COLUMNS, dtype=np.float32)[None, :]
    turn = TURN * bent / (1.0 - np.abs(bent))
    return np.asarray(turn, np.float32), np.linspace(TOP, BOTTOM, ROWS, dtype=np.float32)[:, None]


@lru_cache(maxsize=2)
def _skull(actor: Actor) -> Field:
    turn, y = grid()
    low = smoothstep(10.0, 100.0, y)
    face = np.where(y > 0, y / (1.0 + (actor.long - 1.0)), y)
    front = PchipInterpolator(*zip(*_FRONT, strict=True), extrapolate=True)(face).astype(np.float32) + AXIS
    side = PchipInterpolator(*zip(*_SIDE, strict=True), extrapolate=True)(face).astype(np.float32)
    side = side * (actor.width * (1 - low) + actor.jaw * low)
    blur = (1, 31)
    front = cv2.GaussianBlur(np.maximum(front, 1.0), blur, 4.5)
    side = cv2.GaussianBlur(np.maximum(side, 2.0), blur, 4.5)
    back = np.minimum(np.maximum(side * 1.25, 4.0), 96.0)
    cosine, sine = np.cos(turn), np.abs(np.sin(turn))
    depth = np.where(cosine >= 0, front, back)
    power = 2.0 + 0.28 * smoothstep(-85.0, -40.0, y) * (1.0 - 0.5 * smoothstep(60.0, 105.0, y))
    mixed = (sine / side) ** power + (np.abs(cosine) / depth) ** power
    return np.asarray(mixed ** (-1.0 / power), np.float32)


def _nose(actor: Actor, x: Field, y: Field, smile: float) -> Field:
    length, wide = 38.0 * actor.nose_length, actor.nose_width
    t = np.clip((y + 12.0) / (length + 12.0), 0.0, 1.0)
    height = 1.5 + 17.0 * t**1.25 + 2.0 * actor.heavy * np.exp(-(((y - 10) / 9.0) ** 2))
    spread = wide * (6.4 + 2.2 * t)
    ridge = height * np.exp(-((np.abs(x) / spread) ** 2.3)) * smoothstep(-24.0, -2.0, y)
    ridge *= smoothstep(length + 9.0, length + 0.5, y + 0.020 * x**2)
    tip = 6.6 * bell(x, y, (0.0, length - 1.0), (7.6 * wide, 7.0))
    out = ridge + tip
    for side in (-1.0, 1.0):
        wing = (side * (12.6 * wide + 1.4 * smile), length + 1.2)
        out += 8.8 * bell(x, y, wing, (4.9 * wide, 5.0))
        out -= 2.6 * bell(x, y, (wing[0] + side * 6.6, wing[1] + 0.5), (2.3, 5.5))
        out -= 3.2 * bell(x, y, (side * 6.6 * wide, length + 6.2), (3.4, 1.9))
        out -= 1.7 * bell(x, y, (wing[0] - side * 4.6, wing[1] - 5.0), (2.4, 4.2))
    return out


def _fold(x: Field, y: Field, points: tuple[tuple[float, float], ...]) -> tuple[Field, Field]:
    """Distance to a line through the points and the signed side (positive outward), on |x|."""
    ax, best, sign = np.abs(x), None, None
    for (x0, y0), (x1, y1) in pairwise(points):
        dx, dy = x1 - x0, y1 - y0
        t = np.clip(((ax - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
        d = np.hypot(ax - x0 - t * dx, y - y0 - t * dy)
        s = ((ax - x0) * dy - (y - y0) * dx) / np.hypot(dx, dy)
        if best is None or sign is None:
            best, sign = d, s
        else:
            nearer = d < best
            best, sign = np.where(nearer, d, best), np.where(nearer, s, sign)
    assert best is not None  # noqa: S101 - a fold has at least two points  # nosec B101
    assert sign is not None  # noqa: S101  # nosec B101
    return np.asarray(best, np.float32), np.asarray(sign, np.float32)


def _folds(actor: Actor, x: Field, y: Field, smile: float) -> Field:
    mouth = mouth_of(actor, smile)
    end = mouth.line + 5.0 - 3.0 * smile
    line = ((17.5, 38.0), (22.0 + 1.5 * smile, 47.0),
            (mouth.half + 4.5 + smile, end - 7.0), (mouth.half + 6.5, end + 3.0))  # fmt: skip
    distance, side = _fold(x, y, line)
    fade = smoothstep(36.0, 42.0, y) * smoothstep(end + 8.0, end - 6.0, y)
    depth = 0.25 + 0.5 * actor.age + 0.85 * smile
    out = -depth * np.exp(-((distance / 3.2) ** 2)) * fade
    swell = np.exp(-(((side - 8.0) / 8.0) ** 2)) * np.exp(-((distance / 14.0) ** 2))
    return np.asarray(out + (0.5 + 1.5 * smile) * swell * fade, np.float32)


def _lips(actor: Actor, x: Field, y: Field, smile: float) -> Field:
    mouth = mouth_of(actor, smile)
    upper, middle, lower, taper = mouth.curves(x)
    inside = (np.abs(x) < mouth.half).astype(np.float32)
    up = np.clip((y - upper) / np.maximum(middle - upper, 0.3), 0.0, 1.0)
    down = np.clip((y - middle) / np.maximum(lower - middle, 0.3), 0.0, 1.0)
    roll = 2.4 * np.maximum(np.sin(np.pi * up), 0.0) ** 0.9 * taper * (y < middle)
    roll += 4.1 * np.maximum(np.sin(np.pi * down), 0.0) ** 0.8 * taper * (y >= middle)
    roll = cv2.GaussianBlur(np.asarray(roll * inside, np.float32), (0, 0), 1.5)
    near = np.exp(-(((y - middle) / 1.1) ** 2)) * np.clip(1.15 - (np.abs(x) / mouth.half) ** 6, 0.0, 1.0)
    under = -2.6 * np.exp(-(((y - lower - 4.5) / 4.6) ** 2)) * np.exp(-((x / 15.0) ** 2))
    around = 2.6 * np.exp(-(((y - mouth.line) / 19.0) ** 2)) * np.exp(-((x / 26.0) ** 2))
    corners = np.zeros_like(roll)
    for side in (-1.0, 1.0):
        corner = mouth.line - 0.9 - 4.8 * smile
        corners -= (0.9 + 1.3 * smile) * bell(x, y, (side * (mouth.half + 1.6), corner), (3.4, 3.6))
    groove = -0.9 * bell(x, y, (0.0, 55.5), (2.6, 6.5)) + 0.5 * (
        bell(x, y, (-5.6, 56.5), (2.4, 6.5)) + bell(x, y, (5.6, 56.5), (2.4, 6.5))
    )
    return np.asarray(roll - 1.9 * near + under + around + corners + groove, np.float32)


def _features(actor: Actor, x: Field, y: Field, smile: float) -> Field:
    out = _nose(actor, x, y, smile) + _folds(actor, x, y, smile) + _lips(actor, x, y, smile)
    rugged = actor.heavy
    out += (0.6 + 1.6 * rugged) * bell(x, y, (0.0, -19.0), (11.0, 6.0))
    out += (1.0 + 3.0 * rugged) * bell(x, y, (0.0, 100.0), (16.0, 9.0))
    out -= 0.7 * rugged * bell(x, y, (0.0, 101.0), (3.0, 6.0))
    for side in (-1.0, 1.0):
        eye = side * actor.eye_half
        out -= 8.0 * bell(x, y, (eye + side * 1.0, 0.0), (16.5, 11.5))
        out += 6.0 * bell(x, y, (eye, 0.8), (12.2, 9.6))
        out -= 3.6 * bell(x, y, (side * 13.5, -3.0), (5.4, 8.5))
        out += (1.2 + 2.2 * rugged) * bell(x, y, (side * 27.0, -19.5), (18.0, 6.0))
        out -= (0.7 + 0.5 * actor.age) * bell(x, y, (eye - side * 5.0, 15.5), (9.0, 2.8))
        out += 0.7 * bell(x, y, (eye, 11.0), (10.0, 3.0))
        out += 3.4 * bell(x, y, (side * 46.0, 24.0), (18.0, 14.0))
        out += 2.9 * smile * bell(x, y, (side * 37.0, 28.0 - 2.0 * smile), (13.0, 11.0))
        out -= 1.6 * bell(x, y, (side * 47.0, 55.0), (14.0, 18.0)) * (1 - 0.5 * smile)
        out -= 2.6 * bell(x, y, (side * 67.0, -26.0), (11.0, 20.0))
        out += (1.5 * rugged) * bell(x, y, (side * 47.0, 82.0), (12.0, 11.0))
    return np.asarray(out, np.float32)


@lru_cache(maxsize=1)
def _ears() -> Field:
    """Two flat shells that stand off the head behind the temples."""
    turn, y = grid()
    out = np.zeros((ROWS, COLUMNS), np.float32)
    for side in (-1.0, 1.0):
        lean = np.deg2rad(93.0) * side - side * 0.0022 * (y - 15.0)
        across = side * (turn - lean) / 0.17
        reach = 1.0 - np.clip((np.abs(y - 14.0) / 29.0) ** 2.6, 0.0, 1.0)
        shell = np.exp(-(np.abs(across) ** 3)) * np.clip(reach, 0.0, 1.0) ** 0.5
        out += (7.0 + 7.0 * smoothstep(45.0, -10.0, y)) * shell * (1 - 0.5 * np.exp(-(((across + 0.15) / 0.42) ** 2)))
    return out


def _normals(point: Field) -> Field:
    along = np.gradient(point, axis=1)
    down = np.gradient(point, axis=0)
    normal = np.cross(along, down)
    return np.asarray(normal / np.maximum(np.linalg.norm(normal, axis=2, keepdims=True), 1e-6), np.float32)


@lru_cache(maxsize=6)
def relief_of(actor: Actor, smile: float) -> Relief:
    """The actor's head with the mouth closed (smile 0) to broadly smiling (1)."""
    turn, y = grid()
    radius = _skull(actor)
    x = np.asarray(radius * np.sin(turn), np.float32)
    facing = smoothstep(-0.15, 0.45, np.broadcast_to(np.cos(turn), x.shape).astype(np.float32))
    radius = radius + _features(actor, x, y, smile) * facing  # y is one column: what hangs on it alone is cheap
    radius = radius + _ears()
    radius = cv2.GaussianBlur(np.maximum(radius, 1.0).astype(np.float32), (0, 0), 0.9)
    point = np.stack([radius * np.sin(turn), np.broadcast_to(y, radius.shape), radius * np.cos(turn) - AXIS], axis=2)
    point = point.astype(np.float32)
    fine = radius - cv2.GaussianBlur(radius, (0, 0), 7.0)
    broad = radius - cv2.GaussianBlur(radius, (0, 0), 27.0)
    hollow = np.clip(1.0 + 0.19 * np.minimum(fine, 0.4) + 0.062 * np.minimum(broad, 1.0), 0.25, 1.06)
    hollow = np.maximum(hollow, 0.85 * smoothstep(98.0, 110.0, np.broadcast_to(y, radius.shape).astype(np.float32)))
    return Relief(radius, _normals(point), point, hollow.astype(np.float32))
