"""Invented people: a number in, the proportions, colours and hair of somebody who doesn't exist out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .noise import rng_for

Colour = tuple[float, float, float]

# Linear-light reflectances, invented, spread along the usual line from light to deep skin.
SKINS: tuple[Colour, ...] = (
    (0.62, 0.40, 0.30),
    (0.55, 0.34, 0.24),
    (0.48, 0.285, 0.19),
    (0.36, 0.205, 0.13),
    (0.25, 0.135, 0.085),
    (0.165, 0.085, 0.055),
)
HAIRS: tuple[Colour, ...] = (
    (0.020, 0.014, 0.011),
    (0.050, 0.028, 0.017),
    (0.105, 0.055, 0.028),
    (0.26, 0.165, 0.085),
    (0.22, 0.075, 0.028),
    (0.16, 0.155, 0.15),
)
IRISES: tuple[Colour, ...] = (
    (0.042, 0.020, 0.011),
    (0.095, 0.050, 0.022),
    (0.13, 0.14, 0.07),
    (0.10, 0.17, 0.22),
    (0.16, 0.19, 0.20),
)
STYLES = ("cropped", "swept", "bob", "long", "tied")


@dataclass(frozen=True)
class Actor:
    """One invented person. Lengths in mm on the head, colours in linear light, shapes about 1 or 0."""

    seed: int
    skin: Colour
    hair: Colour
    iris: Colour
    style: str
    heavy: float  # 0 a delicate build (thin brows, fuller lips) .. 1 a rugged one (ridge, jaw, stubble)
    width: float  # breadth of the head over the usual
    jaw: float  # breadth of the jaw over the usual
    long: float  # lower face over the usual
    eye_half: float  # half the distance between the pupils, mm
    eye_open: float  # lid opening over the usual
    nose_width: float
    nose_length: float
    lips: float  # fullness
    mouth: float  # half width, mm
    brow_height: float  # mm over the pupil
    part: float  # x of the parting, mm
    wave: float  # mm of wave in the hair
    age: float  # 0..1 deepens the folds
    freckles: float


def exposure_for(actor: Actor) -> float:
    """How much more light a photographer would give this skin than the middle one."""
    lightness = 0.3 * actor.skin[0] + 0.6 * actor.skin[1] + 0.1 * actor.skin[2]
    return float(np.clip((0.30 / lightness) ** 0.42, 0.85, 1.9))


def _pick(rng: np.random.Generator, choices: tuple[Colour, ...], index: int) -> Colour:
    base = np.asarray(choices[index]) * rng.uniform(0.975, 1.025, 3) * rng.uniform(0.88, 1.12)
    return (float(base[0]), float(base[1]), float(base[2]))


@lru_cache(maxsize=64)
def invent_actor(seed: int) -> Actor:
    """The same seed is always the same person; neighbouring seeds differ in most ways."""
    rng = rng_for(seed, 1)
    tone = int(rng.integers(0, len(SKINS)))
    light = tone <= 2
    hair = int(rng.integers(0, len(HAIRS))) if light else int(rng.integers(0, 2))
    iris = int(rng.integers(0, len(IRISES))) if light else int(rng.integers(0, 2))
    heavy = float(rng.choice([rng.uniform(0.0, 0.25), rng.uniform(0.7, 1.0)]))
    styles = ("cropped", "swept") if heavy > 0.5 else ("bob", "long", "tied", "swept")
    return Actor(
        seed=seed, skin=_pick(rng, SKINS, tone), hair=_pick(rng, HAIRS, hair), iris=_pick(rng, IRISES, iris),
        style=str(rng.choice(styles)), heavy=heavy,
        width=float(rng.uniform(0.96, 1.04)), jaw=float(rng.uniform(0.95, 1.05) + 0.05 * (heavy - 0.5)),
        long=float(rng.uniform(0.97, 1.04)), eye_half=float(rng.uniform(30.5, 32.5)),
        eye_open=float(rng.uniform(0.94, 1.06)), nose_width=float(rng.uniform(0.92, 1.12)),
        nose_length=float(rng.uniform(0.95, 1.05)), lips=float(rng.uniform(0.85, 1.15) + 0.12 * (0.5 - heavy)),
        mouth=float(rng.uniform(23.5, 26.5)), brow_height=float(rng.uniform(19.0, 21.5) - 2.0 * heavy),
        part=float(rng.choice([-1, 1]) * rng.uniform(12, 30)), wave=float(rng.uniform(0.0, 5.0)),
        age=float(rng.uniform(0.0, 0.45)), freckles=float(rng.uniform(0.0, 0.6) * (tone <= 1)),
    )  # fmt: skip
