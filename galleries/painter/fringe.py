"""Lashes and brows."""

from __future__ import annotations

import numpy as np

from galleries.imaging.arrays import Pixels

from .eyes import INNER, OUTER, Eye, surface_points
from .noise import Field, rng_for
from .people import Actor
from .plan import PlannedFrame
from .pose import View
from .relief import Relief
from .strokes import Brush, Points, toned_lines
from .tone import develop


def _bend(root: Points, middle: Points, tip: Points, count: int) -> Points:
    t = np.linspace(0.0, 1.0, count)[None, :, None]
    return np.asarray((1 - t) ** 2 * root[:, None] + 2 * t * (1 - t) * middle[:, None] + t**2 * tip[:, None])


def _ink(actor: Actor, fall: Field, treatment: str, strength: float) -> tuple[float, float, float]:
    shown = develop((np.asarray(actor.hair, np.float32) * strength * fall)[None], treatment)[0]
    return float(shown[0]), float(shown[1]), float(shown[2])


def paint_lashes(picture: Pixels, eye: Eye, fall: Field, treatment: str) -> None:
    """Upper and lower lashes of one eye, over the picture in place."""
    scale = eye.view.scale
    crowd = min(1.0, scale / 7.0)
    ink = _ink(eye.actor, fall, treatment, 0.10)
    for upper in (True, False):
        rng = rng_for(eye.actor.seed, 51 + upper, eye.sign + 2)
        count = int((95 if upper else 52) * (0.25 + 0.75 * crowd))
        t = np.sort(rng.uniform(0.10 if upper else 0.25, 0.985, count))
        u = INNER[0] + (OUTER[0] - INNER[0]) * t
        top, low = eye.lids(u.astype(np.float32))
        v = (top if upper else low + 0.9).astype(float)
        length = (6.4 - 2.0 * eye.actor.heavy if upper else 2.4) * rng.uniform(0.7, 1.1, count)
        length *= (0.55 + 0.6 * t) * np.minimum(1.0, 6.0 * (1.04 - t) + 0.3)
        spread = 1.25 * (t - 0.40) + rng.normal(0, 0.09, count)
        lift = (-0.78 + 1.30 * (1 - np.clip(eye.open, 0, 1))) if upper else 0.8
        root = np.stack([u, v], axis=1)
        tip = root + np.stack([length * spread, length * lift * (1 - 0.25 * np.abs(spread))], axis=1)
        sag = 0.30 if upper else 0.0
        middle = root + np.stack([length * spread * 0.55, length * (lift * 0.22 + sag * 0.4)], axis=1)
        lines = _bend(root, middle, tip, 9) @ eye.jacobian.T + eye.place
        brush = Brush.over(lines, 4, eye.view.width, eye.view.height)
        thick = max(1, round(0.20 * scale))
        brush.lines(lines[:, :5], ink, thick if upper else max(1, round(0.11 * scale)))
        brush.lines(lines[:, 4:], ink, max(1, round(0.11 * scale)))
        brush.blend(picture, (0.9 if upper else 0.5) * (0.35 + 0.65 * crowd))


def _brow_curve(actor: Actor, t: Points, across: Points, smile: float) -> Points:
    """Points of a brow on the head for the picture's right side: t along it 0..1, across it -1..1."""
    height = -actor.brow_height - 0.8 * smile
    x = 11.0 + 39.0 * t + 1.6 * across * (1 - t)
    arch = 3.4 - 1.6 * actor.heavy
    y = height + 2.4 - arch * np.sin(np.pi * np.clip(t / 1.30, 0, 1)) * 1.5 + 5.2 * np.clip(t - 0.62, 0, 1) ** 1.2 * 1.7
    width = (2.7 + 1.7 * actor.heavy) * (1.0 - 0.72 * t**2.0) * np.minimum(1.0, 0.45 + 3.0 * t)
    return np.stack([x, y + width * across], axis=-1)


def paint_brow(
    picture: Pixels, actor: Actor, frame: PlannedFrame, view: View, relief: Relief, sign: int, fall: Field,
    treatment: str,
) -> None:  # fmt: skip
    """One brow: a soft shade of hair below, then its hairs."""
    rng = rng_for(actor.seed, 55, sign + 2)
    crowd = min(1.0, view.scale / 6.0)
    count = int((380 + 260 * actor.heavy) * (0.35 + 0.65 * crowd))
    t = rng.beta(1.15, 1.25, count)
    across = rng.uniform(-1, 1, count)
    root = _brow_curve(actor, t, across, frame.smile)
    slant = np.deg2rad(-78 + 72 * np.clip(t * 1.7, 0, 1) + 16 * t) + rng.normal(0, 0.16, count)
    slant = slant + 0.55 * across * np.clip(t * 2, 0, 1) * -1.0
    length = (7.2 - 2.6 * t) * rng.uniform(0.6, 1.1, count)
    step = np.stack([np.cos(slant), np.sin(slant)], axis=1) * length[:, None]
    bent = step * 0.5 + np.stack([0.10 * length, 0 * length], axis=1)
    tip = root + step + np.stack([0.22 * length, 0.06 * length], axis=1)
    lines = _bend(root, root + bent, tip, 5)
    lines[..., 0] *= sign
    flat = surface_points(relief, lines.reshape(-1, 2))
    places = view.to_pixels(flat).reshape(count, 5, 2)
    shade = np.clip(rng.normal(1.0, 0.35, count), 0.4, 2.0)[:, None].astype(np.float32)
    hair = np.asarray(actor.hair, np.float32) * 0.8
    light = np.asarray(actor.skin, np.float32) * 0.05
    colours = develop((hair + light) * shade * fall * 0.55, treatment)
    under = Brush.over(places, 8 * view.scale, view.width, view.height)
    mean = colours.mean(axis=0)
    under.lines(places[:, :4], (float(mean[0]), float(mean[1]), float(mean[2])), max(1, round(0.5 * view.scale)))
    under.blend(picture, 0.62, max(0.8 * view.scale, 0.5))
    brush = Brush.over(places, 4, view.width, view.height)
    toned_lines(brush, places[:, :4], colours, max(1, round(0.15 * view.scale)), 10)
    toned_lines(brush, places[:, 3:], colours, max(1, round(0.09 * view.scale)), 10)
    brush.blend(picture, 0.35 + 0.5 * crowd)
