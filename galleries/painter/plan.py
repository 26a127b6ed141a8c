"""The plan of an invented sitting: its looks, and every frame with what it will show.

All of it follows from one number. Nothing here touches a pixel, so a plan of any size is made in no time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from .garments import WARDROBE, Garment
from .light import Light, LightSet
from .noise import rng_for
from .people import Actor, Colour, invent_actor

LONG, SHORT = 6000, 4000  # a 24-megapixel camera


@dataclass(frozen=True)
class Backdrop:
    """What hangs behind: colour in linear light, how mottled, how far the light falls off, a gelled lamp on it."""

    name: str
    colour: Colour
    mottle: float
    falloff: float
    glow: Colour = (0.0, 0.0, 0.0)
    glow_at: tuple[float, float] = (0.5, 0.4)
    glow_size: float = 0.55


@dataclass(frozen=True)
class PlannedLook:
    """One look: its words for the plan, and what the painter needs."""

    slug: str
    title: str
    wardrobe: str
    backdrop: str
    lighting: str
    gel: str
    treatment: str  # "colour" or "black and white"
    purpose: str  # "casting" or "portfolio"
    garment: Garment
    ground: Backdrop
    lights: LightSet
    adobe: bool = False  # the camera was set to the wider colour space


@dataclass(frozen=True)
class PlannedFrame:
    """One press of the shutter. Angles in degrees, shifts in mm at the head."""

    index: int
    name: str
    number: int
    captured_at: datetime
    look: str
    framing: str  # "head" (head and shoulders) or "half" (half length)
    wide: bool  # a landscape frame, 6000 × 4000
    yaw: float
    pitch: float
    roll: float
    shift: tuple[float, float]
    smile: float
    lids: float  # 1 open .. 0 closed
    soft: float  # blur, pixels at 6000 long side; 0 = sharp
    orientation: int  # of the EXIF tag
    run: int  # near-identical frames share the number
    located: bool  # carries a position and the body's serial number


@dataclass(frozen=True)
class SittingPlan:
    seed: int
    actor: Actor
    looks: tuple[PlannedLook, ...]
    frames: tuple[PlannedFrame, ...]

    def look(self, slug: str) -> PlannedLook:
        for look in self.looks:
            if look.slug == slug:
                return look
        raise KeyError(f"The plan has no look '{slug}'; it has {', '.join(one.slug for one in self.looks)}.")


def _lights(side: float) -> dict[str, LightSet]:
    """The set-ups a studio would know, the key on the given side (-1 picture left, 1 right)."""
    return {
        "flat": LightSet("flat", (
            Light("key", 20 * side, 28, 1.95, soft=0.95, shape="square", size=1.05),
            Light("fill", -28 * side, 4, 0.42, soft=1.0, shape="round", size=0.62),
        ), (0.20, 0.19, 0.185), pupil=0.36),
        "rim": LightSet("rim", (
            Light("key", 34 * side, 30, 1.45, soft=0.75, shape="round", size=0.85),
            Light("rim left", -128, 22, 2.7, (1.0, 0.97, 0.93), soft=0.25),
            Light("rim right", 132, 26, 2.4, (0.93, 0.97, 1.0), soft=0.25),
        ), (0.075, 0.075, 0.085), pupil=0.48),
        "gel": LightSet("gel", (
            Light("key", 38 * side, 34, 1.60, (1.0, 0.985, 0.965), soft=0.62, shape="square", size=0.9),
            Light("kick", -118 * side, 12, 1.3, (1.0, 0.62, 0.30), soft=0.5),
            Light("fill", -30 * side, 0, 0.26, soft=1.0),
        ), (0.14, 0.12, 0.11), pupil=0.42),
        "hard": LightSet("hard", (
            Light("key", 38 * side, 36, 2.35, soft=0.06, shape="round", size=0.5),
        ), (0.10, 0.10, 0.10), pupil=0.34),
    }  # fmt: skip


def _looks(rng: np.random.Generator) -> tuple[PlannedLook, ...]:
    side = float(rng.choice([-1.0, 1.0]))
    lights = _lights(side)
    canvas = Backdrop("warm canvas", (0.30, 0.225, 0.155), 0.24, 0.55)
    dark = Backdrop("charcoal paper", (0.030, 0.031, 0.034), 0.10, 0.85)
    gelled = Backdrop("grey wall", (0.085, 0.080, 0.078), 0.10, 0.70, (0.95, 0.36, 0.085), (0.66, 0.42), 0.50)
    stone = Backdrop("stone canvas", (0.13, 0.13, 0.13), 0.30, 0.95)
    warm = ("warm canvas, hand painted", "large square panel near the camera, white board opposite", "none")
    jumper, shirt, tee, jacket, roll = (WARDROBE[i] for i in ("jumper", "shirt", "tee", "jacket", "roll"))
    return (
        PlannedLook("canvas-jumper", "Warm canvas, jumper", jumper.words, *warm, "colour", "casting",
                    jumper, canvas, lights["flat"]),
        PlannedLook("canvas-shirt", "Warm canvas, open shirt", shirt.words, *warm, "colour", "casting",
                    shirt, canvas, lights["flat"]),
        PlannedLook("rim-dark", "Rims on charcoal", jacket.words, "charcoal paper, unlit",
                    "round panel three quarters, two bare strips behind", "none", "colour", "casting",
                    jacket, dark, lights["rim"], adobe=True),
        PlannedLook("gel-wall", "Ember wall", tee.words, "grey wall, one lamp on it",
                    "square panel, kicker from behind", "full CTO on the wall lamp", "colour", "portfolio",
                    tee, gelled, lights["gel"]),
        PlannedLook("hard-mono", "One hard light", roll.words, "stone canvas", "one bare lamp, high and to the side",
                    "none", "black and white", "portfolio", roll, stone, lights["hard"]),
    )  # fmt: skip


# Seconds between looks: a change of jumper is short, a rebuilt set is long. The pause inside a look (a phone
# call) is longer than the shortest change, so that the clock alone does not tell the looks apart.
_CHANGES = (0, 290, 1260, 1500, 1050)
_PAUSE = 380


def _shots(rng: np.random.Generator, look: int, count: int) -> list[dict[str, float]]:
    """Head, expression and lids of a look's frames, with one run of near-identical frames."""
    shots: list[dict[str, float]] = []
    run_at, run_length = int(rng.integers(2, 4)), int(rng.integers(3, 5))
    for i in range(count):
        if run_at < i < run_at + run_length:
            last = dict(shots[-1])
            for key, spread in (("yaw", 0.35), ("pitch", 0.25), ("roll", 0.25), ("x", 0.6), ("y", 0.5)):
                last[key] += float(rng.normal(0, spread))
            shots.append({**last, "run": shots[-1]["run"]})
            continue
        shots.append({
            "yaw": float(np.clip(rng.normal(0, 7.0), -15, 15)), "pitch": float(np.clip(rng.normal(-0.5, 2.2), -5, 5)),
            "roll": float(np.clip(rng.normal(0, 3.2), -8, 8)),
            "x": float(rng.normal(0, 7)), "y": float(rng.normal(0, 6)),
            "smile": float(rng.choice([0.0, 0.35, 0.35, 0.7, 1.0])), "run": float(look * 100 + i),
        })  # fmt: skip
    return shots


def plan_sitting(seed: int) -> SittingPlan:
    """Plan the sitting of one invented actor: 5 looks, 46 frames."""
    rng = rng_for(seed, 7)
    looks = _looks(rng)
    clock = datetime(2025, 3, 11, 10, 4, 12)
    clock += timedelta(days=int(rng.integers(0, 300)), seconds=int(rng.integers(0, 900)))
    prefix = "".join(rng.choice(list("BDFHKLMNRSTV"), 1)) + "A" + "".join(rng.choice(list("LMNRST"), 1))
    number = int(rng.integers(380, 460))
    turned = int(rng.choice([6, 8]))
    frames: list[PlannedFrame] = []
    for place, (look, count) in enumerate(zip(looks, (11, 9, 9, 9, 8), strict=True)):
        clock += timedelta(seconds=_CHANGES[place])
        shots = _shots(rng, place, count)
        blinks = set(rng.choice(count, 2 if place < 2 else 1, replace=False).tolist())
        blurred = int(rng.choice([i for i in range(count) if i not in blinks]))
        for i, shot in enumerate(shots):
            same = i > 0 and shots[i - 1]["run"] == shot["run"]
            clock += timedelta(milliseconds=int(rng.integers(700, 1500) if same else rng.integers(4200, 21000)))
            if place == 0 and i == 6:
                clock += timedelta(seconds=_PAUSE)
            number += 1 + (4 if place == 2 and i == 5 else 0)
            wide = i == count - 2 and place in (0, 2, 3)
            half = not wide and not same and i % 3 == 2
            if same:
                half = frames[-1].framing == "half"
            frames.append(PlannedFrame(
                index=len(frames), name=f"{prefix}_{number:04d}.JPG", number=number, captured_at=clock, look=look.slug,
                framing="half" if half else "head", wide=wide, yaw=shot["yaw"], pitch=shot["pitch"], roll=shot["roll"],
                shift=(shot["x"], shot["y"]), smile=shot["smile"], run=int(shot["run"]),
                lids=float(rng.uniform(0.0, 0.12)) if i in blinks else float(rng.uniform(0.92, 1.04)),
                soft=float(rng.uniform(5.5, 8.0)) if i == blurred else 0.0,
                orientation=1 if wide or rng.random() < 0.35 else turned, located=bool(rng.random() < 0.15 or i == 0),
            ))  # fmt: skip
    return SittingPlan(seed, invent_actor(seed), looks, tuple(frames))
