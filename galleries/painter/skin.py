"""The colour of the face over the relief: zones of redness, lips, stubble, freckles, and where it shines."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from .hair import CENTRE, hairline
from .noise import Field, bell, cloud, rng_for, smooth_noise, smoothstep
from .people import Actor
from .relief import COLUMNS, ROWS, grid, mouth_of, relief_of


@dataclass(frozen=True)
class Skin:
    """Tables over the relief: albedo (ROWS, COLUMNS, 3) linear light, gloss (ROWS, COLUMNS)."""

    albedo: Field
    gloss: Field


def _blend(base: Field, colour: Field, amount: Field) -> Field:
    return np.asarray(base + (colour - base) * amount[..., None], np.float32)


def _lip_mask(actor: Actor, x: Field, y: Field, smile: float) -> Field:
    mouth = mouth_of(actor, smile)
    upper, _, lower, _ = mouth.curves(x)
    edge = 0.9
    inside = smoothstep(-edge, edge, y - upper) * smoothstep(edge, -edge, y - lower)
    return inside * smoothstep(mouth.half + 0.5, mouth.half - 2.5, np.abs(x))


def _blotches(actor: Actor, albedo: Field, x: Field, y: Field) -> Field:
    rng = rng_for(actor.seed, 21)
    red = np.array([1.13, 0.90, 0.88], np.float32)
    warmth = cloud(rng, ROWS, COLUMNS, 68.0, 5) * 0.10
    for side in (-1.0, 1.0):
        warmth += 0.75 * bell(x, y, (side * 42.0, 29.0), (17.0, 14.0))
        warmth += 0.45 * bell(x, y, (side * actor.eye_half, 7.0), (15.0, 6.0))
        warmth += 0.35 * bell(x, y, (side * 78.0, 15.0), (9.0, 30.0))
        warmth += 0.25 * bell(x, y, (side * actor.eye_half, -8.0), (14.0, 5.0))
    warmth += 0.75 * bell(x, y, (0.0, 37.0), (14.0, 10.0)) + 0.25 * bell(x, y, (0.0, 100.0), (14.0, 9.0))
    albedo = albedo * red ** np.clip(warmth, -0.4, 1.2)[..., None]
    mottle = cloud(rng, ROWS, COLUMNS, 11.0, 4)
    return np.asarray(albedo * (1.0 + 0.018 * mottle)[..., None], np.float32)


def _stubble(actor: Actor, albedo: Field, x: Field, y: Field) -> Field:
    mouth = mouth_of(actor, 0.0)
    aside = np.abs(x).astype(np.float32)
    beard = smoothstep(26.0, 66.0, y + 0.10 * (aside - 30)) * smoothstep(40.0, 60.0, y + 0.42 * aside)
    beard *= 1.0 - 0.9 * bell(x, y, (0.0, mouth.line + 1.5), (mouth.half + 2, 7.0))
    beard *= 1.0 - 0.75 * bell(x, y, (0.0, mouth.line + 14.0), (9.0, 4.0))
    hairs = 0.75 + 0.35 * smooth_noise(rng_for(actor.seed, 22), ROWS, COLUMNS, 2.2, 2.2)
    shade = np.array([0.62, 0.66, 0.72], np.float32)
    strength = 0.62 * float(np.clip((actor.heavy - 0.55) / 0.45, 0.0, 1.0)) ** 0.7
    amount = np.clip(beard * hairs, 0.0, 1.0) * strength
    return _blend(albedo, albedo * shade, np.asarray(amount, np.float32))


@lru_cache(maxsize=6)
def skin_of(actor: Actor, smile: float) -> Skin:
    """The actor's skin laid over the relief of the same smile."""
    point = relief_of(actor, smile).point
    turn, y = grid()  # y is one column: what hangs on it alone is cheap
    facing = smoothstep(0.0, 0.4, np.broadcast_to(np.cos(turn), point.shape[:2]).astype(np.float32))
    x = np.ascontiguousarray(point[..., 0])
    base = np.asarray(actor.skin, np.float32)
    albedo = np.broadcast_to(base, point.shape).astype(np.float32)
    albedo = _blotches(actor, albedo, x, y)
    albedo = _stubble(actor, albedo, x, y)
    lips = _lip_mask(actor, x, y, smile) * facing
    tint = 0.72 + 0.2 * (1 - actor.heavy)
    lip_colour = albedo * np.array([0.92, 0.56, 0.61], np.float32)
    albedo = _blend(albedo, lip_colour, lips * tint)
    creases = 1.0 + 0.025 * smooth_noise(rng_for(actor.seed, 24), ROWS, COLUMNS, 23.0, 3.0) * lips
    albedo *= creases[..., None]
    for side in (-1.0, 1.0):
        wide, length = actor.nose_width, 38.0 * actor.nose_length
        hole = bell(x, y, (side * 6.8 * wide, length + 6.6), (3.6, 1.7)) * facing
        albedo *= (1.0 - 0.80 * np.clip(1.25 * hole, 0, 1))[..., None]
        corner = bell(x, y, (side * actor.eye_half, 0.5), (15.0, 9.0)) * facing
        albedo *= (1.0 - 0.13 * corner)[..., None]
        below = bell(x, y, (side * (actor.eye_half - 4.0), 12.5), (11.0, 4.0)) * facing
        albedo *= 1.0 - below[..., None] * np.array([0.06, 0.10, 0.07], np.float32)
    albedo = _freckled(actor, albedo, x, y, facing)
    albedo = _scalp(actor, albedo, point)
    gloss = 0.42 + 0.40 * bell(x, y, (0.0, 20.0), (9.0, 24.0)) + 0.30 * bell(x, y, (0.0, -42.0), (34.0, 18.0))
    for side in (-1.0, 1.0):
        gloss += 0.25 * bell(x, y, (side * 44.0, 20.0), (13.0, 8.0))
    gloss += 0.55 * lips + 0.2 * bell(x, y, (0.0, 100.0), (12.0, 7.0))
    pores = 1.0 + 0.16 * smooth_noise(rng_for(actor.seed, 25), ROWS, COLUMNS, 2.6, 2.6)
    return Skin(np.asarray(albedo, np.float32), np.asarray(gloss * pores * facing, np.float32))


def _scalp(actor: Actor, albedo: Field, point: Field) -> Field:
    """The shade of the hair's roots, so that skin does not shine through the strands."""
    azimuth = np.rad2deg(np.arctan2(point[..., 0], point[..., 2] - CENTRE[2]))
    inside = hairline(actor, azimuth).astype(np.float32) - point[..., 1]
    thin = smooth_noise(rng_for(actor.seed, 26), ROWS, COLUMNS, 7.0, 4.0)
    amount = smoothstep(-1.0, 7.0, inside + 1.6 * thin) * 0.93
    return _blend(albedo, np.asarray(actor.hair, np.float32) * 0.42 + albedo * 0.04, amount)


def _freckled(actor: Actor, albedo: Field, x: Field, y: Field, facing: Field) -> Field:
    rng = rng_for(actor.seed, 23)
    spots = np.zeros((ROWS, COLUMNS), np.float32)
    for _ in range(int(260 * actor.freckles)):
        row, column = int(rng.normal(434, 53)), int(rng.normal(380, 114))
        cv2.circle(spots, (column, row), int(rng.integers(1, 3)), float(rng.uniform(0.15, 0.5)), -1, cv2.LINE_AA)
    for _ in range(int(rng.integers(1, 4))):
        place = (int(rng.normal(380, 130)), int(rng.normal(532, 68)))
        cv2.ellipse(spots, (place, (4, 5), 0.0), float(rng.uniform(0.35, 0.7)), -1, cv2.LINE_AA)
    spots = cv2.GaussianBlur(spots, (0, 0), 1.0) * facing
    return _blend(albedo, albedo * np.array([0.60, 0.46, 0.40], np.float32), np.clip(spots, 0, 1))
