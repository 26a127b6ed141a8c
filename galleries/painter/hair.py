"""Hair: strands grown over the scalp by a combing field, drawn in layers and lit along their length."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from .light import LightSet
from .noise import Field, rng_for
from .people import Actor
from .pose import View
from .strokes import Brush, toned_lines
from .tone import develop

Vectors = NDArray[np.float64]
CENTRE = np.array([0.0, -33.0, -80.0])
_HAIRLINE = PchipInterpolator(
    (0, 15, 27, 40, 52, 60, 68, 76, 84, 96, 112, 130, 180), (-69, -69, -66, -58, -42, -24, 2, 14, -8, -14, 22, 52, 70)
)
_FACE_EDGE = PchipInterpolator((-72, -62, -48, -30, -10, 20, 60, 90, 130, 300), (0, 18, 44, 61, 69, 71, 67, 60, 58, 66))


_KNOT = np.array([0.0, -48.0, -190.0])  # where tied hair is gathered


@dataclass(frozen=True)
class Style:
    """How a cut grows: lengths in mm on top and at the sides, lift, volume, how far it is combed aside."""

    strands: int
    steps: int
    top: float
    side: float
    lift: float
    volume: float
    falls: bool


STYLES: dict[str, Style] = {
    "cropped": Style(21000, 6, 27.0, 10.0, 0.42, 6.0, False),
    "swept": Style(15000, 12, 80.0, 20.0, 0.72, 13.0, False),
    "bob": Style(9600, 18, 235.0, 185.0, 0.25, 13.0, True),
    "long": Style(9600, 20, 345.0, 300.0, 0.25, 12.0, True),
    "tied": Style(13000, 14, 150.0, 120.0, 0.03, 4.0, False),
}


@dataclass(frozen=True)
class Strands:
    """points (n, steps, 3) in mm on the head, depth of each strand in the mass (n,) 0 deep .. 1 outer, tone (n,)."""

    points: Vectors
    layer: Vectors
    tone: Vectors


def _radii(actor: Actor, y: Vectors) -> tuple[float, Vectors, float]:
    return 76.5 * actor.width, np.where(y < CENTRE[1], 88.5, 158.0), 94.0


def _egg(actor: Actor, points: Vectors) -> tuple[Vectors, Vectors]:
    """Level of the skull's egg (1 on it) and its outward normal at points (n, 3)."""
    a, b, c = _radii(actor, points[:, 1])
    local = points - CENTRE
    level = np.sqrt((local[:, 0] / a) ** 2 + (local[:, 1] / b) ** 2 + (local[:, 2] / c) ** 2)
    normal = np.stack([local[:, 0] / a**2, local[:, 1] / b**2, local[:, 2] / c**2], axis=1)
    return level, normal / np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-9)


def hairline(actor: Actor, azimuth: Vectors) -> Vectors:
    """Height y in mm of the hairline over the angle from the front, degrees (either side)."""
    recede = 4.0 * actor.heavy * np.exp(-(((np.abs(azimuth) - 33.0) / 13.0) ** 2))
    return np.asarray(_HAIRLINE(np.clip(np.abs(azimuth), 0, 180)) - recede)


def _roots(actor: Actor, rng: np.random.Generator, count: int) -> Vectors:
    sphere = rng.standard_normal((count * 3, 3))
    sphere /= np.linalg.norm(sphere, axis=1, keepdims=True)
    a, b, c = _radii(actor, CENTRE[1] + sphere[:, 1])
    points = CENTRE + sphere * np.stack([np.full(len(b), a), b, np.full(len(b), c)], axis=1)
    azimuth = np.rad2deg(np.arctan2(points[:, 0], points[:, 2] - CENTRE[2]))
    keep = points[:, 1] < hairline(actor, azimuth) + rng.normal(0, 1.6, len(points))
    return points[keep][:count]


def _comb(actor: Actor, style: Style, points: Vectors, normal: Vectors, side: Vectors, age: float) -> Vectors:
    """Direction each hair wants to take at its present place."""
    name = actor.style
    n = len(points)
    if name == "cropped":
        want = np.stack([0.45 * side, np.full(n, -0.15) + 0.9 * (points[:, 1] > -60), np.full(n, 0.55)], axis=1)
    elif name == "swept":
        crown = np.clip((-35.0 - points[:, 1]) / 35.0, 0, 1)
        want = np.stack([side * 0.9, 0.95 - 1.15 * crown, -0.55 - 0.35 * crown], axis=1)
    elif name == "tied":
        want = _KNOT - points
        want /= np.linalg.norm(want, axis=1, keepdims=True)
    else:
        want = np.stack([side * 0.75 * (points[:, 1] < -30), np.full(n, 1.0), np.full(n, -0.22)], axis=1)
    tangent = want - (want * normal).sum(axis=1, keepdims=True) * normal
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-6)
    lift = style.lift * max(0.0, 1.0 - age * (1.6 if style.falls else 1.25))
    out = tangent + normal * lift
    return np.asarray(out / np.linalg.norm(out, axis=1, keepdims=True))


def _keep_off_face(points: Vectors, side: Vectors, rng_push: Vectors) -> None:
    limit = _FACE_EDGE(np.clip(points[:, 1], -72, 300)) + rng_push
    front = points[:, 2] > -75.0
    short = limit - np.abs(points[:, 0])
    push = np.where(front & (short > 0) & (points[:, 1] > -66), short * 0.5, 0.0)
    points[:, 0] += side * push
    points[:, 2] -= push * 0.35


@lru_cache(maxsize=4)
def grow(actor: Actor) -> Strands:
    """The actor's hair, the same in every frame."""
    style = STYLES[actor.style]
    rng = rng_for(actor.seed, 71)
    points = _roots(actor, rng, style.strands)
    n = len(points)
    layer = rng.beta(1.3, 1.1, n)
    clump = np.floor(np.rad2deg(np.arctan2(points[:, 0], points[:, 2] + 80.0)) / 7.0 + 0.03 * points[:, 1])
    clump_rng = rng_for(actor.seed, 72)
    clump_tone = clump_rng.normal(0, 1.0, 400)[clump.astype(int) % 400]
    clump_turn = clump_rng.normal(0, 1.0, 400)[clump.astype(int) % 400]
    height = np.clip((-15.0 - points[:, 1]) / 60.0, 0.0, 1.0)
    length = (style.side + (style.top - style.side) * height) * rng.uniform(0.82, 1.06, n)
    step = length / (style.steps - 1)
    side = np.where(points[:, 0] > actor.part + rng.normal(0, 1.5, n), 1.0, -1.0)
    if not style.falls:
        lean = -np.sign(actor.part)
        side = np.where(points[:, 1] < -52, lean, np.sign(points[:, 0]))
    away = 1.5 + style.volume * layer * np.clip((45.0 - points[:, 1]) / 90.0, 0.35, 1.0)
    phase = rng.uniform(0, 2 * np.pi, n) * 0.25 + clump_turn * 2.0
    push, wander = rng.uniform(-2.5, 7.0, n), rng.normal(0, 1.0, (n, 3)) * (0.035 if style.falls else 0.07)
    stray = rng.random(n) < 0.012
    wander[stray] *= 3.0 if style.falls else 2.2
    layer[stray] = 1.0
    if actor.style == "tied":
        length = np.minimum(length, 0.80 * np.linalg.norm(_KNOT - points, axis=1))
        step = length / (style.steps - 1)
    path = [points.copy()]
    for k in range(1, style.steps):
        age = k / style.steps
        level, normal = _egg(actor, points)
        direction = _comb(actor, style, points, normal, side, age) + wander
        if style.falls:
            free = np.clip((points[:, 1] - 25.0) / 50.0, 0.0, 1.0)[:, None]
            inward = 0.34 * np.clip((points[:, 1] - 45) / 60, 0, 1) * (actor.style == "bob")
            hang = np.stack([side * (0.02 - inward), np.ones(n), np.full(n, 0.02)], axis=1)
            direction = direction * (1 - free) + (hang + wander) * free
            swing = np.sin(points[:, 1] / 26.0 + phase) * actor.wave * 0.045
            direction[:, 0] += swing * np.clip((points[:, 1] + 40) / 60.0, 0, 1)
        direction[:, 0] += (0.03 if style.falls else 0.08) * clump_turn
        direction /= np.linalg.norm(direction, axis=1, keepdims=True)
        points = points + direction * step[:, None]
        level, normal = _egg(actor, points)
        inside = np.maximum(1.0 + away * min(1.0, 3.0 * age) / 85.0 - level, 0.0) * 85.0
        points = points + normal * inside[:, None]
        if style.falls:
            _keep_off_face(points, side, push)
        path.append(points.copy())
    tone = 0.16 * clump_tone + rng.normal(0, 0.22, n)
    return Strands(np.stack(path, axis=1), layer, tone)


def _shade(actor: Actor, strands: Strands, view: View, lights: LightSet) -> Field:
    """Linear light of each segment (n, steps-1, 3)."""
    turn = view.pose.matrix()
    tangent = np.diff(strands.points, axis=1) @ turn.T
    tangent /= np.maximum(np.linalg.norm(tangent, axis=2, keepdims=True), 1e-6)
    middle = 0.5 * (strands.points[:, 1:] + strands.points[:, :-1])
    flat = middle.reshape(-1, 3)
    low = np.minimum(flat[:, 1], 60.0)
    _, normal = _egg(actor, np.stack([flat[:, 0], low, flat[:, 2]], axis=1))
    normal = normal.reshape(middle.shape) @ turn.T
    hair = np.asarray(actor.hair) * np.exp(strands.tone)[:, None, None]
    deep = (0.40 + 0.60 * strands.layer**0.8)[:, None]
    reach = np.linspace(0.75, 1.08, tangent.shape[1])[None, :]
    ambient = np.asarray(lights.ambient) * 0.9
    out = hair * ambient * (0.6 + 0.4 * np.clip(-normal[..., 1:2], -0.5, 1)) * (deep * reach)[..., None]
    for light in lights.lights:
        toward = light.direction().astype(float)
        if toward[2] > 0:
            facing = np.clip((normal @ toward + 0.25) / 1.25, 0.0, 1.0)
        else:  # from behind only the outline catches it
            facing = 2.6 * np.clip(normal @ toward, 0.0, 1.0) ** 1.7
            facing = facing * np.clip(1.0 - (middle[..., 2] + 95.0) / 70.0, 0.0, 1.0)
        along = tangent @ toward
        across = np.sqrt(np.clip(1.0 - along**2, 0.0, 1.0))
        half = toward + np.array([0.0, 0.0, 1.0])
        half /= max(float(np.linalg.norm(half)), 0.2)
        slip = (tangent * half).sum(axis=2)
        first = np.clip(1.0 - (slip + 0.10) ** 2, 0, 1) ** 60
        second = np.clip(1.0 - (slip - 0.14) ** 2, 0, 1) ** 16
        colour = np.asarray(light.colour) * light.power
        behind = float(np.clip(-toward[2], 0.0, 1.0))
        edge = np.clip(1.0 - np.abs(normal[..., 2]), 0, 1) ** 2.0 * behind * np.clip(normal @ toward, 0, 1)
        tinted = 0.75 * second * (1.0 - 0.8 * behind) + 1.8 * edge
        gleam = (0.045 * first * deep + 0.10 * edge)[..., None] + hair * tinted[..., None]
        diffuse = hair * (0.62 * across)[..., None]
        out = out + (diffuse * (deep * reach)[..., None] + gleam * deep[..., None]) * facing[..., None] * colour
    return np.asarray(out, np.float32)


PARTS = ("back", "deep", "top", "whole")
_THICK = (0.75, 0.48, 0.34, 0.28, 0.19, 0.10)  # mm by band, from the scalp outward; hairs seen as small locks


def _bands(part: str, crowd: float) -> list[tuple[float, float, float, int]]:
    """Low and high quantile of depth, thickness in mm and stride over the hairs, per band of a part."""
    if part == "whole" or (part == "back" and crowd < 0.5):
        stride = 2 if crowd > 0.4 else 3
        return [(k / 3, (k + 1) / 3, 0.3, stride) for k in range(3)]
    chosen = {"deep": range(4), "top": range(4, 6), "back": range(6)}[part]
    return [(k / 6, (k + 1) / 6, _THICK[k], 2 if k < 2 else 1) for k in chosen]


def _shown(
    middle: Vectors, places: Vectors, view: View, head_depth: Field, factor: float, back: bool
) -> NDArray[np.bool_]:
    """Which pieces of which strands are drawn: in the picture, on the right side of the neck, over the skin."""
    x, y, z = middle[..., 0], middle[..., 1], middle[..., 2]
    behind = ((y > 5.0) & (z < -128.0)) | ((y > 72.0) & (np.abs(x) < 62.0) & (z < -78.0))
    show = behind if back else ~behind
    if not back:
        cells = np.round(0.5 * (places[:, 1:] + places[:, :-1]) * factor).astype(int)
        columns = np.clip(cells[..., 0], 0, head_depth.shape[1] - 1)
        rows = np.clip(cells[..., 1], 0, head_depth.shape[0] - 1)
        show &= middle[..., 2] > head_depth[rows, columns] - 4.0
    inside = (places[..., 0] > -50) & (places[..., 0] < view.width + 50) & (places[..., 1] < view.height + 50)
    return np.asarray(show & inside[:, 1:] & inside[:, :-1])


def hair_layer(
    actor: Actor, view: View, lights: LightSet, treatment: str, head_depth: Field, factor: float, part: str
) -> Brush | None:
    """Draw a part of the hair: 'back' behind the neck, 'deep' and 'top' of what lies over the head, or the 'whole'.

    `head_depth` is at `factor` of the view's size; strands that go under the skin there are left out.
    """
    strands = grow(actor)
    seen = view.to_camera(strands.points)
    places = seen[..., :2] * view.scale + np.asarray(view.origin)
    middle = 0.5 * (seen[:, 1:] + seen[:, :-1])
    show = _shown(middle, places, view, head_depth, factor, part == "back")
    if not show.any():
        return None
    brush = Brush.over(np.stack([places[:, :-1][show], places[:, 1:][show]], axis=1), 6, view.width, view.height)
    bands = _bands(part, min(1.0, view.scale / 6.0))
    in_band = [_of_band(actor, low, high, stride) for low, high, _, stride in bands]
    drawn = np.any(in_band, axis=0) & show.any(axis=1)  # only these are lit: most of them are left out at a small size
    some = Strands(strands.points[drawn], strands.layer[drawn], strands.tone[drawn])
    colours = develop(_shade(actor, some, view, lights) * np.float32(0.45 if part == "back" else 1.0), treatment)
    pieces = np.stack([places[drawn, :-1], places[drawn, 1:]], axis=2)
    away = _turned_away(actor, some, view)  # beyond the outline: always under what faces the camera
    for side in (away, ~away) if part in ("deep", "whole") else (~away,) if part == "top" else (away | True,):
        for (_, _, thick, _), of_band in zip(bands, in_band, strict=True):
            chosen = show[drawn] & side & of_band[drawn, None]
            toned_lines(brush, pieces[chosen], colours[chosen], max(1, round(thick * view.scale)), 12)
    return brush


@lru_cache(maxsize=4)
def _ranks(actor: Actor) -> Vectors:
    """Each strand's place in the mass, 0 deepest to 1."""
    layer = grow(actor).layer
    return np.asarray(np.argsort(np.argsort(layer)) / len(layer))


def _of_band(actor: Actor, low: float, high: float, stride: int) -> NDArray[np.bool_]:
    rank = _ranks(actor)
    return np.asarray((rank >= low) & (rank < high) & (np.arange(len(rank)) % stride == 0))


def _turned_away(actor: Actor, strands: Strands, view: View) -> NDArray[np.bool_]:
    middle = 0.5 * (strands.points[:, 1:] + strands.points[:, :-1])
    _, normal = _egg(actor, middle.reshape(-1, 3))
    return np.asarray((normal @ view.pose.matrix().T[:, 2]).reshape(middle.shape[:2]) < 0.0)
