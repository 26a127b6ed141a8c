"""Neck, shoulders and clothes as a relief seen by the camera (they turn little, so no rays are needed)."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.interpolate import PchipInterpolator

from .garments import Garment
from .noise import Field, bell, rng_for, smooth_noise, smoothstep
from .people import Actor

_SHOULDER = PchipInterpolator(
    (0, 45, 60, 90, 130, 165, 190, 206, 217, 225, 231, 236, 240, 600),
    (100, 114, 130, 149, 163, 175, 191, 214, 246, 300, 400, 600, 1000, 9000),
)


@dataclass(frozen=True)
class BodyView:
    """Per pixel of the picture: depth in mm, coverage 0..1, cloth coverage 0..1, albedo in linear light, shade."""

    depth: Field
    cover: Field
    cloth: Field
    albedo: Field
    hollow: Field


def _neck(actor: Actor, x: Field, y: Field, lean: Field) -> tuple[Field, Field]:
    half = 47.0 + 9.0 * actor.heavy + 7.0 * np.exp(-(((y - 60) / 30.0) ** 2)) + 0.5 * np.clip(y - 118.0, 0.0, 45.0)
    inside = np.clip(1.0 - ((x - lean) / half) ** 2, 0.0, 1.0)
    depth = -92.0 + 50.0 * np.sqrt(inside) - 0.06 * np.maximum(110.0 - y, 0.0)
    for side in (-1.0, 1.0):
        along = np.clip((y - 75.0) / 80.0, 0.0, 1.2)
        cord = side * (48.0 - 40.0 * along)
        depth += 3.0 * np.exp(-(((x - lean * (1 - along) - cord) / 7.0) ** 2)) * smoothstep(70, 100, y)
    depth += (0.6 + 2.4 * actor.heavy) * bell(x, y, (0.0, 122.0), (7.0, 10.0))
    depth -= 4.5 * bell(x, y, (0.0, 160.0), (7.0, 7.0))
    return np.asarray(depth, np.float32), np.asarray(half - np.abs(x - lean), np.float32)


def _torso(actor: Actor, x: Field, y: Field) -> tuple[Field, Field]:
    broad = 0.83 + 0.13 * actor.heavy
    edge = np.asarray(_SHOULDER(np.clip(np.abs(x) / broad, 0, 600)), np.float32)
    under = np.asarray(y - edge, np.float32)
    t = np.clip(under / 85.0, 0.0, 1.0)
    depth = -110.0 + 78.0 * np.sqrt(1.0 - (1.0 - t) ** 2) - 48.0 * (np.abs(x) / (230.0 * broad)) ** 2.4
    for side in (-1.0, 1.0):
        depth += (6.0 + 3.0 * actor.heavy) * bell(x, y, (side * 78.0, 275.0), (62.0, 55.0))
        depth += 3.4 * _stroke(x, y, (side * 12.0, 160.0), (side * 118.0, 143.0), 5.0)
        arm = smoothstep(225.0, 420.0, y)
        depth -= 11.0 * np.exp(-(((np.abs(x) - (166.0 - 0.02 * (y - 300)) * broad) / 11.0) ** 2)) * arm
        depth += 4.0 * np.exp(-(((np.abs(x) - 200.0 * broad) / 24.0) ** 2)) * arm
    return np.asarray(depth, np.float32), under


def _stroke(x: Field, y: Field, a: tuple[float, float], b: tuple[float, float], spread: float) -> Field:
    dx, dy = b[0] - a[0], b[1] - a[1]
    t = np.clip(((x - a[0]) * dx + (y - a[1]) * dy) / (dx * dx + dy * dy), 0.0, 1.0)
    return np.asarray(np.exp(-(((x - a[0] - t * dx) ** 2 + (y - a[1] - t * dy) ** 2) / spread**2)), np.float32)


def _folds(seed: int, garment: Garment, x: Field, y: Field, scale: float) -> Field:
    """Creases that hang from the shoulders and gather toward the armpits."""
    rng = rng_for(seed, 41, sum(map(ord, garment.words)))
    height, width = x.shape
    warp = smooth_noise(rng, height, width, 90 * scale, 90 * scale)
    out = np.zeros_like(x)
    for angle, spacing, size in ((62.0, 58.0, 2.6), (-58.0, 64.0, 2.4), (86.0, 80.0, 2.2)):
        slope = np.deg2rad(angle)
        across = x * np.sin(slope) - y * np.cos(slope) + 17.0 * warp + float(rng.uniform(0, spacing))
        wave = np.abs(np.sin(np.pi * across / spacing)) ** 0.7
        patch = smoothstep(0.1, 1.3, smooth_noise(rng, height, width, 150 * scale, 110 * scale))
        out += size * (wave - 0.6) * patch
    for side in (-1.0, 1.0):
        for k in range(5):
            start = (side * (158.0 - 3 * k), 262.0 + 16.0 * k)
            stop = (side * (105.0 - 12.0 * k + float(rng.normal(0, 8))), 215.0 + 34.0 * k + float(rng.normal(0, 9)))
            out -= float(rng.uniform(0.3, 1.6)) * _stroke(x, y, start, stop, float(rng.uniform(7.0, 13.0)))
    return np.asarray(out * garment.folds * smoothstep(150.0, 215.0, y), np.float32)


class _Sheet:
    """Polygons in mm drawn as soft-edged masks on the picture's grid."""

    def __init__(self, x: Field, y: Field, scale: float) -> None:
        self.shape, self.scale = x.shape, scale
        self.zero = (float(x[0, 0]), float(y[0, 0]))

    def mask(self, points: list[tuple[float, float]]) -> Field:
        drawn = np.zeros(self.shape, np.uint8)
        places = (np.asarray(points) - self.zero) * self.scale
        cv2.fillPoly(drawn, [np.round(places * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        return np.asarray(drawn, np.float32) / 255.0

    def both(self, points: list[tuple[float, float]]) -> Field:
        return np.maximum(self.mask(points), self.mask([(-px, py) for px, py in points]))


def _raised(mask: Field, scale: float, height: float, round_mm: float = 2.5) -> Field:
    return height * cv2.GaussianBlur(mask, (0, 0), max(round_mm * scale * 0.5, 0.4))


def _neckline(garment: Garment, x: Field, y: Field) -> tuple[Field, float]:
    """mm under the edge of the cloth (positive: covered) and the width of its band."""
    if garment.cut == "roll":
        return np.asarray(y - (108.0 + 7.0 * (1 - (x / 60.0) ** 2)), np.float32), 46.0
    low, half, top = (168.0, 74.0, 112.0) if garment.cut == "crew" else (176.0, 76.0, 110.0)
    t = np.clip(np.abs(x) / half, 0.0, 1.0)
    return np.asarray(y - (top + (low - top) * np.sqrt(1 - t**2) ** 1.1), np.float32), 17.0


def _dress(garment: Garment, x: Field, y: Field, scale: float) -> tuple[Field, Field, Field]:
    """Cloth cover, extra height in mm and albedo (h, w, 3) of the garment."""
    sheet = _Sheet(x, y, scale)
    main, second = np.asarray(garment.colour, np.float32), np.asarray(garment.under, np.float32)
    albedo = np.broadcast_to(main, (*x.shape, 3)).astype(np.float32)
    if garment.cut == "shirt":
        return _shirt(sheet, x, y, scale, albedo, second)
    under, band = _neckline(garment, x, y)
    cover = smoothstep(-0.6, 0.6, under)
    ribs = 0.5 + 0.5 * np.cos(2 * np.pi * x / 4.4)
    inside = smoothstep(-0.5, 0.5, under) * smoothstep(band + 0.8, band - 0.8, under)
    height = _raised(cover, scale, 3.2) + _raised(inside, scale, 1.8, 1.6)
    if garment.cloth == "knit" or garment.cut == "roll":
        height = height + 0.55 * ribs * inside
    if garment.cut == "roll":
        height = height + 3.5 * np.exp(-(((under - 24.0) / 9.0) ** 2))
        height = height - 2.2 * np.exp(-(((under - 43.0 - 2 * np.sin(x / 23.0)) / 3.0) ** 2))
    if garment.cut == "jacket":
        albedo[:] = second
        front = sheet.both([(62, 96), (300, 60), (300, 900), (-2, 900), (-2, 432), (20, 372), (52, 240), (64, 150)])
        lapel = sheet.both([(60, 104), (80, 128), (112, 206), (96, 216), (120, 236), (3, 430), (20, 372), (52, 240)])
        collar = sheet.both([(58, 100), (76, 116), (111, 205), (97, 214), (60, 150)])
        albedo = albedo + (main - albedo) * front[..., None]
        satin = np.clip(lapel + collar, 0, 1)[..., None]
        albedo = albedo * (1.0 + 0.12 * satin)
        height = height + _raised(front, scale, 4.5)
        height = height + _raised(lapel, scale, 3.0, 1.8) + _raised(collar, scale, 2.0, 1.6)
    return cover, np.asarray(height, np.float32), albedo


def _shirt(sheet: _Sheet, x: Field, y: Field, scale: float, albedo: Field, button: Field) -> tuple[Field, Field, Field]:
    body = sheet.both([(60, 108), (300, 60), (300, 900), (-2, 900), (-2, 226), (4, 222), (26, 172)])
    leaf = sheet.both([(56, 92), (64, 104), (84, 146), (53, 205), (44, 203), (15, 164), (30, 138), (50, 112)])
    placket = sheet.mask([(-13, 214), (15, 214), (15, 900), (-13, 900)]) * body
    height = _raised(body, scale, 2.6) + _raised(leaf, scale, 5.5, 3.0) + _raised(placket, scale, 1.3, 1.4)
    seam = 0.35 * np.exp(-(((np.abs(x - 1) - 11.0) / 0.8) ** 2)) * placket
    height = height - seam
    for k in range(6):
        spot = (1.0, 246.0 + 84.0 * k)
        distance = np.hypot(x - spot[0], y - spot[1])
        disc = smoothstep(5.6, 5.1, distance)
        albedo = albedo + (button - albedo) * disc[..., None]
        height = height + 1.2 * disc - 0.9 * smoothstep(1.9, 1.3, distance)
        height = height - 1.1 * np.exp(-(((distance - 6.2) / 1.4) ** 2))
    return np.clip(body + leaf, 0, 1), np.asarray(height, np.float32), np.asarray(albedo, np.float32)


def build_body(actor: Actor, garment: Garment, x: Field, y: Field, scale: float, lean: float) -> BodyView:
    """The body on a grid of mm (x, y of each pixel, relative to the resting head), `scale` pixels per mm.

    `lean` is how far the head stands from its rest, in mm: the top of the neck follows it.
    """
    follow = lean * smoothstep(165.0, 80.0, y)
    neck, neck_edge = _neck(actor, x, y, follow)
    torso, torso_edge = _torso(actor, x, y)
    gap = smoothstep(-26.0, 26.0, torso - neck)
    depth = cv2.GaussianBlur(neck + (torso - neck) * gap + 18.0 * gap * (1.0 - gap), (0, 0), 2.0 * scale)
    pixel = 0.8 / scale
    neck_cover = smoothstep(-pixel, pixel, neck_edge) * smoothstep(45.0, 60.0, y) * smoothstep(185.0, 165.0, y)
    torso_cover = smoothstep(-pixel, pixel, torso_edge)
    cover = np.maximum(neck_cover, torso_cover)
    cloth, height, albedo = _dress(garment, x, y, scale)
    cloth = cloth * cover
    if garment.cut == "roll":
        half = 54.0 + 9.0 * actor.heavy + 0.10 * (y - 108.0) + 0.010 * np.maximum(y - 128.0, 0.0) ** 2
        across = np.abs(x - 0.6 * follow) / half
        sleeve = smoothstep(-pixel, pixel, half * (1.0 - across)) * smoothstep(-1.0, 1.0, y - 105.0 - 9.0 * across**5)
        sleeve = sleeve * smoothstep(200.0, 175.0, y)
        cover, cloth = np.maximum(cover, sleeve), np.maximum(cloth, sleeve)
        tube = -92.0 + 54.0 * np.sqrt(np.clip(1.0 - across**2, 0.0, 1.0))
        depth = np.maximum(depth, tube * sleeve - 300.0 * (1.0 - sleeve))
    depth = depth + height * cover + _folds(actor.seed, garment, x, y, scale) * cloth
    skin = np.asarray(actor.skin, np.float32) * np.array([0.97, 0.93, 0.91], np.float32)
    albedo = skin + (albedo - skin) * cloth[..., None]
    depth = np.asarray(depth, np.float32)
    spread = cv2.GaussianBlur(depth, (0, 0), 5.0 * scale)
    hollow = np.clip(1.0 + 0.055 * np.minimum(depth - spread, 1.5), 0.35, 1.05)
    return BodyView(depth, cover, cloth, np.asarray(albedo, np.float32), np.asarray(hollow, np.float32))


def relief_normals(depth: Field, scale: float) -> Field:
    """Unit normals of a relief in mm seen at `scale` pixels per mm."""
    smooth = cv2.GaussianBlur(depth, (0, 0), 0.8)
    gx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=3) * (scale / 8.0)
    gy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=3) * (scale / 8.0)
    normal = np.stack([-gx, -gy, np.ones_like(gx)], axis=2)
    return np.asarray(normal / np.linalg.norm(normal, axis=2, keepdims=True), np.float32)
