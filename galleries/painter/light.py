"""Studio lights: where they stand, how soft they are, and what they make of a surface."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from .noise import Field, smoothstep

RED_DEEP = np.array([1.0, 0.35, 0.22], np.float32)  # how far light wanders in skin, by channel


@dataclass(frozen=True)
class Light:
    """One lamp. `side` and `height` in degrees seen from the sitter (0 at the camera, side > 0 picture right).

    A side beyond 90 stands behind the sitter. `soft` runs from 0 (bare, hard) to 1 (a large panel close by).
    """

    name: str
    side: float
    height: float
    power: float
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    soft: float = 0.6
    shape: str = "round"  # of its reflection in the eye: round, square, strip
    size: float = 0.0  # radius of the reflection, mm; 0: not seen in the eye

    def direction(self) -> Field:
        """Unit vector from the sitter to the lamp in camera axes (x right, y down, z toward the camera)."""
        a, b = np.deg2rad(self.side), np.deg2rad(self.height)
        return np.array([np.sin(a) * np.cos(b), -np.sin(b), np.cos(a) * np.cos(b)], np.float32)


@dataclass(frozen=True)
class LightSet:
    """All the lamps of a set-up and the light that comes from everywhere."""

    name: str
    lights: tuple[Light, ...]
    ambient: tuple[float, float, float]
    pupil: float = 0.42  # pupil over iris radius: smaller before a bright source


def exposed(lights: LightSet, gain: float) -> LightSet:
    """The same set-up with every lamp turned up by the factor."""
    red, green, blue = lights.ambient
    lamps = tuple(replace(light, power=light.power * gain) for light in lights.lights)
    return replace(lights, lights=lamps, ambient=(red * gain, green * gain, blue * gain))


def diffuse(normal: Field, light: Light) -> Field:
    """Wrapped Lambert: a soft source reaches round the form."""
    facing = normal @ light.direction()
    wrap = np.float32(0.06 + 0.42 * light.soft)
    lit = np.maximum((facing + wrap) / (1.0 + wrap), 0.0)
    return np.asarray(lit ** (1.0 + 0.6 * wrap), np.float32)


def shine(normal: Field, light: Light, sharp: float) -> Field:
    """Blinn's reflection, normalised, with more of it at grazing angles."""
    toward = light.direction() + np.array([0, 0, 1], np.float32)
    toward = toward / np.linalg.norm(toward)
    power = sharp * (1.0 - 0.6 * light.soft)
    cosine = np.maximum(normal @ toward.astype(np.float32), 0.0)
    graze = 0.045 + 0.75 * (1.0 - np.clip(normal[..., 2], 0.0, 1.0)) ** 4
    lit = np.maximum(normal @ light.direction(), 0.0) ** 0.5
    return np.asarray((power + 2.0) / 8.0 * cosine**power * graze * lit, np.float32)


def cast_shadow(depth: Field, light: Light, scale: float) -> Field:
    """1 where the lamp reaches, 0 in the shadow of something nearer to it.

    `depth` is the surface in mm toward the camera (very low where there is none), `scale` pixels per mm.
    Walks from each pixel toward the lamp over the picture and asks how far the surface stands over the ray.
    """
    direction = light.direction()
    if direction[2] < 0.12:
        return np.ones_like(depth)
    rise = float(direction[2] / max(float(np.hypot(direction[0], direction[1])), 1e-3))
    across = direction[:2] / max(float(np.hypot(direction[0], direction[1])), 1e-3)
    over = np.zeros_like(depth)
    height, width = depth.shape
    spread = 0.06 + 0.55 * light.soft
    for reach in np.geomspace(3.0, 85.0, 16):
        dx, dy = across * reach * scale
        move = np.array([[1, 0, -dx], [0, 1, -dy]], np.float32)
        there = cv2.warpAffine(depth, move, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        gap = there - (depth + np.float32(reach * rise)) - 0.8
        np.maximum(over, gap / np.float32(2.0 + spread * reach), out=over)
    shade = smoothstep(0.0, 1.0, over)
    return np.asarray(1.0 - shade * (1.0 - 0.35 * light.soft), np.float32)


def skin_light(lit: Field, colour: Field, scale: float) -> Field:
    """Spread the lamp's light under the skin, red farthest. lit (h, w) -> (h, w, 3)."""
    wide = cv2.GaussianBlur(lit, (0, 0), max(2.4 * scale, 0.3))
    close = cv2.GaussianBlur(lit, (0, 0), max(0.7 * scale, 0.2))
    parts = [RED_DEEP[i] * wide + (1.0 - RED_DEEP[i]) * close for i in range(3)]
    return np.stack(parts, axis=2) * colour
