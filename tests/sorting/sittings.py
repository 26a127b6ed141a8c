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


def _face(faces: random.Random, light: tuple[float, float], pose: float) -> float | None:
    """Median L* of a face: another in every light, a little more as it turns to the lamp. Painted frames of one look
    scatter by 0.1 to 1.0, looks of one sitting lie within 7."""
    usual = 55 + random.Random(f"{light}").uniform(-4, 4)
    return None if faces.random() < 0.03 else usual + 2.5 * pose + faces.gauss(0, 0.8)


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
    rng, faces = random.Random(seed), random.Random(f"faces {seed}")  # apart: numbers of before there were faces stay
    setup = Setup(rng.choice(list(CLOTHES)), rng.choice(list(BACKDROPS)), (rng.choice((-1, 1)) * 0.9, 0.4))
    two = rng.random() < 0.5 if second_camera is None else second_camera
    offset = timedelta(seconds=rng.choice((0, 37, 3600, -7200, 86400 * 400)) + rng.randint(-20, 20))
    now = datetime(2026, 3, 14, 10, 0) + timedelta(seconds=rng.randint(0, 20000))
    numbers = {"A": rng.randint(1, 9800), "B": rng.randint(1, 9800)}
    numbered: list[FrameNumbers] = []
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
            frame = replace(frame, face=_face(faces, setup.light, pose))
            name = f"{camera}{numbers[camera]:04d}"
            taken = clock.replace(microsecond=0) if clocks else None
            numbered.append(replace(frame, id=name, captured_at=taken, sequence=numbers[camera]))
            look_of[name] = look
            numbers[camera] = numbers[camera] % 9999 + 1
    return Sitting(tuple(numbered), look_of, tuple(walked))


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


Row = tuple[FrameNumbers, int]  # a frame and the look it is of

# --- kinds of sittings that have gone wrong somewhere, each with its truth ---

GELS: dict[str, Lab] = {
    "none": (52, 0, 0), "half CTO": (54, 9, 26), "full CTB": (48, -3, -24), "deep green": (47, -24, 12),
    "rose": (52, 24, 4),
}  # fmt: skip


def run_of(
    rng: random.Random, look: int, count: int, clothes: Lab, backdrop: Lab, light: tuple[float, float], *,
    mono: bool = False, hands: float = 0.06, spread: float = 1.0,
) -> list[Row]:  # fmt: skip
    """`count` frames of one set-up: the head turns slowly, now and then a hand is before the clothes."""
    out, pose = [], 0.0
    state = rng.getstate()[1]
    faces = random.Random(f"faces {state[0]} {state[-1]}")
    for _ in range(count):
        pose = 0.8 * pose + rng.gauss(0, 0.14)
        worn: Lab | None = _measured(rng, clothes, 2.2 * spread)
        if rng.random() < hands:
            worn = _measured(rng, (60, 14, 16), 8)
        if rng.random() < 0.03:
            worn = None
        behind: Lab | None = _measured(rng, backdrop, 1.1 * spread) if rng.random() > 0.02 else None
        if mono:
            worn = None if worn is None else (worn[0], 0.0, 0.0)
            behind = None if behind is None else (behind[0], 0.0, 0.0)
        seen = (light[0] + pose + rng.gauss(0, 0.1), light[1] + rng.gauss(0, 0.12))
        lit = seen if rng.random() > 0.03 else None
        face = _face(faces, light, pose)
        out.append((FrameNumbers("", None, "A", None, behind, worn, lit, monochrome=mono, face=face), look))
    return out


def dated(rng: random.Random, rows: list[Row], kind: str, *, clocks: bool = True) -> Sitting:
    """Numbers and a clock for frames in order; a change of look takes a little longer than a frame, no more."""
    now, number = datetime(2026, 5, 4, 10, 0) + timedelta(seconds=rng.randint(0, 9000)), rng.randint(1, 8000)
    frames, look_of, before = [], {}, None
    for frame, look in rows:
        now += timedelta(seconds=rng.expovariate(1 / 5.0) + 0.4)
        if before is not None and look != before:
            now += timedelta(seconds=rng.uniform(5, 60))
        name = f"A{number:04d}"
        frames.append(
            replace(frame, id=name, captured_at=now.replace(microsecond=0) if clocks else None, sequence=number)
        )
        look_of[name] = look
        number, before = number + 1, look
    return Sitting(tuple(frames), look_of, (kind,))


def two_of(rng: random.Random, table: dict[str, Lab], apart: float = 14) -> tuple[Lab, Lab]:
    names = rng.sample(list(table), 2)
    while sum((a - b) ** 2 for a, b in zip(table[names[0]], table[names[1]], strict=True)) ** 0.5 <= apart:
        names = rng.sample(list(table), 2)
    return table[names[0]], table[names[1]]


def light_of(rng: random.Random) -> tuple[float, float]:
    return rng.choice((-1, 1)) * rng.uniform(0.7, 1.2), 0.4


def of_kind(kind: str, seed: int) -> Sitting:
    """One sitting of a kind of `KINDS`; the same number gives the same sitting."""
    rng = random.Random(f"{kind} {seed}")
    one, other = two_of(rng, CLOTHES)
    wall, wall2 = two_of(rng, BACKDROPS)
    light = light_of(rng)
    far = (-light[0], light[1])

    def pair(how: str) -> tuple[tuple[Lab, Lab, tuple[float, float], bool], tuple[Lab, Lab, tuple[float, float], bool]]:
        b = {
            "outfit": (other, wall, light, False), "backdrop": (one, wall2, light, False),
            "light": (one, wall, far, False), "treatment": (one, wall, light, True), "all": (other, wall2, far, False),
        }[how]  # fmt: skip
        return (one, wall, light, False), b

    def shot(look: int, count: int, setup: tuple[Lab, Lab, tuple[float, float], bool]) -> list[Row]:
        return run_of(rng, look, count, setup[0], setup[1], setup[2], mono=setup[3])

    head, _, how = kind.partition(" ")
    rows: list[Row] = []
    if head == "turns":  # five frames each, in turns
        a, b = pair(how)
        for k in range(6):
            rows += shot(k % 2, 5, b if k % 2 else a)
    elif head == "between":  # a short look between two stretches of another
        a, b = pair(how)
        rows = shot(0, rng.randint(12, 40), a) + shot(1, rng.randint(4, 9), b) + shot(0, rng.randint(12, 40), a)
    elif head == "gels":  # the light's colour alone: the grey backdrop takes it, the clothes hardly
        names = rng.sample(list(GELS), 4)
        for k, name in enumerate(names):
            rows += shot(k, rng.randint(6, 30), (one, GELS[name], light, False))
    elif head == "backdrops":  # the same clothes before one backdrop after another
        walls = rng.sample(list(BACKDROPS.values()), 4)
        for k, behind in enumerate(walls):
            rows += shot(k, rng.randint(8, 40), (one, behind, light, False))
    elif head == "jackets":  # a jacket over the jumper: half of what is seen stays
        over = tuple(0.45 * u + 0.55 * v for u, v in zip(one, other, strict=True))
        if sum((u - v) ** 2 for u, v in zip(one, over, strict=True)) ** 0.5 < 14:
            over = other
        for k in range(4):
            rows += shot(k % 2, rng.randint(8, 20), (over if k % 2 else one, wall, light, False))  # type: ignore[arg-type]
    elif head == "short":  # many short looks
        setup = Setup("navy", "mid grey", light)
        for k in range(12):
            rows += shot(k, rng.randint(4, 9), (CLOTHES[setup.clothes], BACKDROPS[setup.backdrop], setup.light, False))
            setup = _next_setup(rng, setup, rng.choice(("outfit", "backdrop", "all")))
    else:
        raise ValueError(f"no such kind: {kind}")
    return dated(rng, rows, kind, clocks=rng.random() > 0.2)


KINDS = (
    "turns outfit", "turns backdrop", "turns light", "turns treatment", "turns all",
    "between outfit", "between backdrop", "between light", "between treatment", "between all",
    "gels", "backdrops", "jackets", "short",
)  # fmt: skip
