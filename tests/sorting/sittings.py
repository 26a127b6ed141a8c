"""Sittings made up by numbers, with the truth: which look every frame belongs to.

What varies, as it does in a studio: the colour of clothes and backdrop from a list of usual ones, light direction and
contrast, the way from look to look (outfit only, backdrop only, light only, all of it, treatment), with a pause or
without; pauses inside a look; a slow drift of the light; the pose's influence on the measured light and on how much
of the clothes is seen; hands and props before the clothes; readings that fail; clocks that are off; a second camera
with its own clock and its own colour.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from galleries.sorting.frames import FrameNumbers, Lab

CLOTHES: dict[str, Lab] = {
    "white": (92, 0, -2), "black": (16, 0, 0), "navy": (22, 4, -20), "grey": (55, 0, -1), "denim": (42, -2, -22),
    "red": (40, 52, 30), "bottle green": (30, -22, 12), "beige": (76, 4, 16), "burgundy": (26, 30, 10),
    "mustard": (64, 12, 52), "sky": (74, -6, -20), "rose": (72, 22, 6),
}  # fmt: skip
BACKDROPS: dict[str, Lab] = {
    "white": (94, 0, 0), "light grey": (76, 0, -1), "mid grey": (52, 0, 0), "charcoal": (28, 0, -1),
    "blue": (44, -4, -24), "warm brown": (38, 12, 20), "olive": (46, -6, 18),
}  # fmt: skip
CHANGES = ("outfit", "outfit", "outfit", "backdrop", "light", "all", "all", "treatment")


@dataclass(frozen=True)
class Setup:
    """What is constant in a look."""

    clothes: str
    backdrop: str
    light: tuple[float, float]
    monochrome: bool = False


@dataclass(frozen=True)
class Sitting:
    """Frames in true order and the look of each."""

    frames: tuple[FrameNumbers, ...]
    look_of: dict[str, int]
    kinds: tuple[str, ...]


def _next_setup(rng: random.Random, now: Setup, kind: str) -> Setup:
    if kind in ("outfit", "all"):
        others = [c for c in CLOTHES if _far(CLOTHES[c], CLOTHES[now.clothes], now.monochrome)]
        now = replace(now, clothes=rng.choice(others))
    if kind in ("backdrop", "all"):
        others = [b for b in BACKDROPS if _far(BACKDROPS[b], BACKDROPS[now.backdrop], now.monochrome)]
        now = replace(now, backdrop=rng.choice(others))
    if kind in ("light", "all"):
        x, y = now.light
        side = -1 if x > 0 else 1
        now = replace(now, light=(side * rng.uniform(0.6, 1.6), min(1.2, max(0.0, y + rng.uniform(-0.3, 0.3)))))
    if kind == "treatment":
        now = replace(now, monochrome=not now.monochrome)
    return now


def _far(one: Lab, other: Lab, monochrome: bool) -> bool:
    """Nobody can tell two whites apart, or red from green in black and white: looks that differ by less than
    14 in Lab, in black and white in L*, are not made."""
    if monochrome:
        return abs(one[0] - other[0]) > 14
    return sum((a - b) ** 2 for a, b in zip(one, other, strict=True)) ** 0.5 > 14


def _measured(rng: random.Random, lab: Lab, spread: float, gain: float = 1.0) -> Lab:
    return (
        min(100.0, max(0.0, lab[0] * gain + rng.gauss(0, spread))),
        lab[1] + rng.gauss(0, spread * 0.6),
        lab[2] + rng.gauss(0, spread * 0.6),
    )


def _lengths(rng: random.Random, frames: int, looks: int) -> list[int]:
    shares = [rng.uniform(0.4, 1.6) for _ in range(looks)]
    lengths = [max(12, int(frames * s / sum(shares))) for s in shares]
    lengths[lengths.index(max(lengths))] += frames - sum(lengths)
    return lengths


def sitting(
    seed: int,
    *,
    frames: int = 400,
    looks: int = 6,
    second_camera: bool | None = None,
    kinds: tuple[str, ...] = CHANGES,
    clocks: bool = True,
) -> Sitting:
    """One sitting; the same number gives the same sitting. `clocks` False leaves every capture time out."""
    rng = random.Random(seed)
    setup = Setup(rng.choice(list(CLOTHES)), rng.choice(list(BACKDROPS)), (rng.choice((-1, 1)) * 0.9, 0.4))
    two = rng.random() < 0.5 if second_camera is None else second_camera
    offset = timedelta(seconds=rng.choice((0, 37, 3600, -7200, 86400 * 400)) + rng.randint(-20, 20))
    now = datetime(2026, 3, 14, 10, 0) + timedelta(seconds=rng.randint(0, 20000))
    numbers = {"A": rng.randint(1, 9800), "B": rng.randint(1, 9800)}
    made: list[FrameNumbers] = []
    look_of: dict[str, int] = {}
    walked = []
    for look, length in enumerate(_lengths(rng, frames, looks)):
        if look:
            kind = rng.choice(kinds)
            walked.append(kind)
            setup = _next_setup(rng, setup, kind)
            slow = kind in ("backdrop", "all") or rng.random() < 0.5
            now += timedelta(seconds=rng.uniform(240, 1500) if slow else rng.uniform(8, 50))
        drift = rng.uniform(-6, 6), rng.uniform(-0.3, 0.3)
        pose = 0.0
        for k in range(length):
            now += timedelta(seconds=rng.expovariate(1 / 5.0) + 0.3)
            if rng.random() < 0.012:
                now += timedelta(seconds=rng.uniform(300, 1800))  # a pause inside the look
            pose = 0.8 * pose + rng.gauss(0, 0.16)  # the head turns slowly; the halves of the face follow
            camera = "B" if two and rng.random() < 0.3 else "A"
            frame = _frame(rng, setup, (drift[0] * k / length, drift[1] * k / length), pose, camera)
            clock = now + offset if camera == "B" else now
            name = f"{camera}{numbers[camera]:04d}"
            taken = clock.replace(microsecond=0) if clocks else None
            made.append(replace(frame, id=name, captured_at=taken, sequence=numbers[camera]))
            look_of[name] = look
            numbers[camera] = numbers[camera] % 9999 + 1
    return Sitting(tuple(made), look_of, tuple(walked))


def _frame(rng: random.Random, setup: Setup, drift: tuple[float, float], pose: float, camera: str) -> FrameNumbers:
    gain = 0.97 if camera == "B" else 1.0
    lift = 1.0 + drift[0] / 100
    backdrop: Lab | None = _measured(rng, BACKDROPS[setup.backdrop], 1.2, gain * lift)
    clothes: Lab | None = _measured(rng, CLOTHES[setup.clothes], 2.5, gain * lift)
    if rng.random() < 0.06:  # a hand, a prop, the hair over the clothes
        clothes = _measured(rng, (60, 14, 16), 8)
    if rng.random() < 0.03:  # a close frame without clothes or backdrop
        clothes = None
    if rng.random() < 0.02:
        backdrop = None
    light = (setup.light[0] + drift[1] + pose + rng.gauss(0, 0.1), setup.light[1] + rng.gauss(0, 0.12))
    if setup.monochrome:
        backdrop = None if backdrop is None else (backdrop[0], 0.0, 0.0)
        clothes = None if clothes is None else (clothes[0], 0.0, 0.0)
    known = rng.random() > 0.03
    return FrameNumbers(
        "", None, camera, None, backdrop, clothes, light if known else None, monochrome=setup.monochrome
    )
