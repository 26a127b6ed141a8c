"""Eyes painted at full size on the lit face: lids that close, iris, pupil, catch lights, lashes and brows."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels

from .light import Light, LightSet
from .noise import Field, rng_for, smooth_noise, smoothstep
from .people import Actor
from .plan import PlannedFrame
from .pose import View
from .relief import AXIS, Relief, columns_of, rows_of
from .tone import develop, to_bytes, to_values

IRIS = 5.85  # mm; the visible iris is about 11.7 mm across (from memory)
CORNEA = 7.8  # mm, its radius of curvature
INNER, OUTER = (-15.0, 2.0), (14.6, -1.1)  # corners of the lids, mm, first number toward the ear


@dataclass(frozen=True)
class CatchLight:
    """A lamp seen in an eye, pixels."""

    light: str
    x: float
    y: float
    radius: float
    visible: bool


@dataclass(frozen=True)
class EyeTruth:
    """Where an eye is in the picture. `subject_side` is the sitter's own: 'right' stands at the picture's left."""

    subject_side: str
    x: float
    y: float
    iris_radius: float
    lids: float  # opening 0..1 of the plan
    opening: float  # mm between the lids at the pupil
    catch_lights: tuple[CatchLight, ...]


def surface_points(relief: Relief, xy: NDArray[np.floating]) -> NDArray[np.float64]:
    """Points (n, 3) on the front of the head over (n, 2) x, y in mm."""
    x, y = np.asarray(xy[:, 0], np.float64), np.asarray(xy[:, 1], np.float64)
    z = np.zeros_like(x)
    for _ in range(10):
        turn = np.arctan2(x, z + AXIS)
        radius = cv2.remap(relief.radius, columns_of(turn.astype(np.float32))[None, :],
                           rows_of(y.astype(np.float32))[None, :], cv2.INTER_LINEAR)[0]  # fmt: skip
        z = 0.5 * z + 0.5 * (np.sqrt(np.maximum(radius.astype(float) ** 2 - x**2, 1.0)) - AXIS)
    return np.stack([x, y, z], axis=1)


class Eye:
    """One eye of one frame: its place, axes and lid curves. `sign` -1 at the picture's left, 1 at its right."""

    def __init__(self, actor: Actor, frame: PlannedFrame, view: View, relief: Relief, sign: int) -> None:
        self.actor, self.frame, self.view, self.sign = actor, frame, view, sign
        self.open = float(np.clip(frame.lids, 0.0, 1.1))
        self.centre = surface_points(relief, np.array([[sign * actor.eye_half, 0.0]]))[0]
        turn, nod = np.deg2rad([frame.yaw, frame.pitch])
        look = 0.92 if self.open > 0.3 else 0.5
        droop = 1.8 * max(0.0, 1.0 - self.open)  # the eye sinks behind a falling lid
        self.gaze = (-sign * 11.0 * np.sin(turn) * look - 0.2, -11.0 * np.sin(nod) * look + droop)
        axes = view.pose.matrix()[:2, :] * view.scale
        lateral = axes @ np.array([1.0, 0.0, -0.20 * sign])
        self.jacobian = np.stack([lateral * sign, axes @ np.array([0.0, 1.0, 0.0])], axis=1)
        self.place = view.to_pixels(self.centre)

    def pixel(self, u: float, v: float) -> tuple[float, float]:
        x, y = self.place + self.jacobian @ np.array([u, v])
        return float(x), float(y)

    def lids(self, u: Field) -> tuple[Field, Field]:
        """Heights v (mm, down) of the upper and the lower lid over u."""
        t = np.clip((u - INNER[0]) / (OUTER[0] - INNER[0]), 0.0, 1.0)
        base = INNER[1] + (OUTER[1] - INNER[1]) * t
        smile = self.frame.smile
        arch = (4.0 * t**0.86 * (1.0 - t)) ** 0.66
        dip = (4.0 * t * (1.0 - t**1.25)) ** 0.80
        high = base - (5.75 * self.actor.eye_open - 0.25 * smile) * arch
        low = base + (4.35 - 1.15 * smile) * dip - 1.9 * (1.0 - min(self.open, 1.0)) * dip
        return low - (low - high) * np.float32(self.open) - 0.02, low

    def truth(self, lights: LightSet) -> EyeTruth:
        x, y = self.pixel(*self.gaze)
        top, low = self.lids(np.array([self.gaze[0]], np.float32))
        caught = tuple(self._caught(light, x, y) for light in lights.lights if light.size > 0)
        return EyeTruth("right" if self.sign < 0 else "left", x, y, IRIS * self.view.scale, self.frame.lids,
                        float(low[0] - top[0]), caught)  # fmt: skip

    def _caught(self, light: Light, x: float, y: float) -> CatchLight:
        half = light.direction() + np.array([0, 0, 1], np.float32)
        half = half / np.linalg.norm(half)
        at = (x + CORNEA * float(half[0]) * self.view.scale, y + CORNEA * float(half[1]) * self.view.scale)
        u, v = np.linalg.solve(self.jacobian, np.asarray(at) - self.place)
        top, low = self.lids(np.array([u], np.float32))
        clear = float(top[0]) + 0.35 * light.size < v < float(low[0]) - 0.3
        return CatchLight(light.name, at[0], at[1], light.size * self.view.scale, bool(clear and self.open > 0.4))


def _iris(actor: Actor, du: Field, dv: Field, pupil: float, key: Light, sign: int) -> Field:
    """Linear albedo-like colour of iris and pupil over offsets in mm from its centre."""
    r = np.asarray(np.hypot(du, dv) / IRIS, np.float32)
    angle = np.arctan2(dv, du)
    rng = rng_for(actor.seed, 31)
    fibre = np.zeros_like(r)
    ring = np.linspace(-np.pi, np.pi, 721)
    for count, size in ((1, 0.5), (3, 0.35)):
        line = smooth_noise(rng, 1, 721, 1, 9.0 / count)[0] * size
        line[-40:] = line[-40:] * np.linspace(1, 0, 40) + line[:40] * np.linspace(0, 1, 40)
        wobble = angle + 0.06 * np.sin(7 * r)
        fibre += np.interp(wobble, ring, line, period=2 * np.pi).astype(np.float32)
    base = np.asarray(actor.iris, np.float32)
    inner = base * np.array([1.5, 1.15, 0.8], np.float32)
    collar = smoothstep(pupil + 0.30, pupil + 0.06, r)
    colour = base + (inner - base) * collar[..., None]
    colour = colour * np.exp(0.38 * fibre)[..., None]
    toward = key.direction()
    opposite = (-(du * sign * toward[0] + dv * toward[1])) / IRIS
    colour = colour * (0.80 + 0.70 * np.clip(opposite + 0.25, 0, 1))[..., None]
    colour = colour * (1.0 - 0.72 * smoothstep(0.80, 0.99, r))[..., None]
    return np.asarray(colour * (1.0 - 0.975 * smoothstep(pupil + 0.035, pupil - 0.035, r))[..., None], np.float32)


def _reflection(light: Light, dx: Field, dy: Field, blur: float) -> Field:
    """Shape of a lamp's reflection over offsets in mm."""
    if light.shape == "square":
        gap = np.asarray(np.maximum(np.abs(dx), np.abs(dy) * 0.92) * 0.75 + 0.25 * np.hypot(dx, dy), np.float32)
    elif light.shape == "strip":
        gap = np.asarray(np.maximum(np.abs(dx) * 2.2, np.abs(dy)), np.float32)
    else:
        gap = np.asarray(np.hypot(dx, dy), np.float32)
    return smoothstep(light.size + blur, light.size - blur, gap)


def paint_eye(picture: Pixels, eye: Eye, lights: LightSet, fall: Field, treatment: str) -> None:
    """Paint one eye into the full-size picture, in place. `fall` is the light there (3,)."""
    reach = np.abs(eye.jacobian) @ np.array([25.0, 17.0])
    x0, y0 = np.maximum(np.floor(eye.place - reach).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(eye.place + reach).astype(int), [picture.shape[1], picture.shape[0]])
    yy, xx = np.mgrid[y0:y1, x0:x1].astype(np.float32)
    inverse = np.linalg.inv(eye.jacobian).astype(np.float32)
    dx, dy = xx - np.float32(eye.place[0]), yy - np.float32(eye.place[1])
    u, v = inverse[0, 0] * dx + inverse[0, 1] * dy, inverse[1, 0] * dx + inverse[1, 1] * dy
    upper, lower = eye.lids(u)
    edge = max(0.16, 0.7 / eye.view.scale)
    ends = smoothstep(INNER[0] - 0.2, INNER[0] + 0.9, u) * smoothstep(OUTER[0] + 0.2, OUTER[0] - 0.9, u)
    gap = np.maximum(lower - upper, 0.0)
    hole = smoothstep(-edge, edge, v - upper) * smoothstep(edge, -edge, v - lower) * ends
    hole *= smoothstep(0.05, 0.5, gap)
    patch = to_values(picture[y0:y1, x0:x1])
    _lid_skin(patch, eye, u, v, upper, lower, ends)
    ball = _ball(eye, lights, fall, u, v, upper, xx, yy)
    shown = develop(ball, treatment)
    _add_reflections(shown, eye, lights, xx, yy, hole)
    patch += (shown - patch) * hole[..., None]
    wet = np.exp(-(((v - lower + 0.15) / 0.28) ** 2)) * ends * smoothstep(0.3, 2.0, gap)
    patch += (0.16 * wet * float(develop(fall[None] * 0.3)[0].mean()))[..., None]
    if treatment == "black and white":
        patch = np.repeat(patch.mean(axis=2, keepdims=True), 3, axis=2)
    picture[y0:y1, x0:x1] = to_bytes(patch)


def _lid_skin(patch: Field, eye: Eye, u: Field, v: Field, upper: Field, lower: Field, ends: Field) -> None:
    """Crease, lash line and lid rims, as shades of the skin that is there."""
    opened = float(np.clip(eye.open, 0, 1))
    t = np.clip((u - INNER[0]) / (OUTER[0] - INNER[0]), 0.0, 1.0)
    wide = smoothstep(INNER[0] - 1.5, INNER[0] + 5.0, u) * smoothstep(OUTER[0] + 4.0, OUTER[0] - 3.0, u)
    top_open = INNER[1] + (OUTER[1] - INNER[1]) * t - 5.75 * eye.actor.eye_open * (4 * t**0.86 * (1 - t)) ** 0.66
    crease = top_open - 2.6 - 0.9 * t - 0.8 * (1 - opened)
    fold = np.exp(-(((v - crease) / (0.75 + 0.5 * (1 - opened))) ** 2)) * wide * (0.30 + 0.26 * opened)
    glow = np.exp(-(((v - crease - 1.9) / 1.1) ** 2)) * wide * 0.07
    lashes = np.exp(-(np.abs(v - upper + 0.25) ** 1.6) / (0.62 if opened > 0.3 else 0.5)) * ends
    under = np.exp(-(((v - lower - 0.35) / 0.45) ** 2)) * ends * 0.26
    bag = np.exp(-(((v - lower - 3.6) / 1.3) ** 2)) * wide * 0.07
    inner = np.exp(-(((v - (lower + upper) / 2) / 5.0) ** 2 + ((u - INNER[0] + 2.5) / 3.2) ** 2)) * 0.16
    weight = 0.80 - 0.1 * eye.actor.heavy
    dark = (1.0 - fold) * (1.0 - weight * lashes) * (1.0 - under) * (1.0 - bag) * (1.0 - inner) + glow
    warm = np.array([0.85, 1.0, 1.05], np.float32)
    patch *= np.clip(dark, 0.02, 1.1)[..., None] ** warm
    rim = smoothstep(-0.1, 0.35, v - lower) * smoothstep(1.25, 0.7, v - lower) * ends * opened
    patch += (rim[..., None] * np.array([0.05, 0.022, 0.022], np.float32)) * patch.mean()


def _ball(eye: Eye, lights: LightSet, fall: Field, u: Field, v: Field, upper: Field, xx: Field, yy: Field) -> Field:
    """Linear light of the eyeball over the patch."""
    key = lights.lights[0]
    du, dv = u - np.float32(eye.gaze[0]), v - np.float32(eye.gaze[1])
    far = np.clip(1.0 - (np.hypot(u, v * 1.1) / 16.5) ** 2, 0.05, 1.0)
    toward = key.direction()
    turned = np.clip(1.0 + 0.30 * (u * eye.sign * toward[0] + v * toward[1]) / 12.0, 0.4, 1.3)
    white = np.array([0.50, 0.445, 0.415], np.float32) * (far**0.55 * turned)[..., None]
    rng = rng_for(eye.actor.seed, 33, 5 + eye.sign)
    veins = smooth_noise(rng, u.shape[0], u.shape[1], 2.2 * eye.view.scale, 3.4 * eye.view.scale)
    red = (0.10 + 0.05 * veins) * smoothstep(5.0, 14.0, np.asarray(np.abs(u), np.float32))
    white = white * (1.0 - red[..., None] * np.array([0.2, 1.0, 1.0], np.float32))
    tear = np.exp(-(((u + 13.3) / 1.9) ** 2 + ((v - 1.7) / 1.7) ** 2))
    white = white + (np.array([0.42, 0.19, 0.16], np.float32) - white) * np.clip(1.2 * tear, 0, 1)[..., None]
    iris = _iris(eye.actor, du, dv, lights.pupil, key, eye.sign)
    edge = max(0.22, 0.8 / eye.view.scale)
    inside = smoothstep(IRIS + edge, IRIS - edge, np.hypot(du, dv))
    ball = white + (iris - white) * inside[..., None]
    shade = 0.36 + 0.64 * smoothstep(-0.4, 3.6, v - upper)
    return np.asarray(ball * shade[..., None] * fall * 0.62, np.float32)


def _add_reflections(shown: Field, eye: Eye, lights: LightSet, xx: Field, yy: Field, hole: Field) -> None:
    scale = eye.view.scale
    x, y = eye.pixel(*eye.gaze)
    strongest = max((light.power for light in lights.lights if light.size > 0), default=0.0)
    for light in lights.lights:
        if light.size <= 0:
            continue
        caught = eye._caught(light, x, y)
        mark = _reflection(light, (xx - caught.x) / scale, (yy - caught.y) / scale, max(0.12, 0.6 / scale))
        level, weight = (0.97, 0.95) if light.power == strongest else (0.66, 0.72)
        shown += np.maximum(np.float32(level) - shown, 0.0) * (mark * np.float32(weight))[..., None]
    sheen = np.exp(-(((xx - x) / scale / 9.0) ** 2 + ((yy - y) / scale + 3.4) ** 2 / 2.4)) * 0.035
    shown += (sheen * hole)[..., None]
