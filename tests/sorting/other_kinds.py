"""Kinds of sittings that proposed looks were never tuned on: they are made and judged, and nothing is set by them,
but that sorting learned to see less light (`exposure`) on "dimmed" and "misfires", numbers 0 to 9 and 200 to 239.

What a studio does within one look and what must not begin another (close, then full length; another lens; the light
turned down; a flash that does not fire), and what must (a jacket put off, treatments in turn, a few late frames of the
first look), and a second camera whose clock is an hour off.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

from galleries.sorting.frames import FrameNumbers, Lab
from tests.sorting.sittings import (
    BACKDROPS,
    CLOTHES,
    Row,
    Sitting,
    dated,
    light_of,
    run_of,
    two_of,
)

Light = tuple[float, float]
OTHER_KINDS = (
    "jacket off", "close and full", "another lens", "dimmed", "misfires", "treatments", "late extra", "hour off",
)  # fmt: skip


def of_other_kind(kind: str, seed: int) -> Sitting:
    """One sitting of a kind of `OTHER_KINDS`; the same number gives the same sitting. ValueError on another kind."""
    rng = random.Random(f"{kind} {seed}")
    makers = {
        "jacket off": _jacket_off, "close and full": _close_and_full, "another lens": _another_lens,
        "dimmed": _dimmed, "misfires": _misfires, "treatments": _treatments, "late extra": _late_extra,
        "hour off": _hour_off,
    }  # fmt: skip
    if kind not in makers:
        raise ValueError(f"no such kind: {kind}")
    rows = makers[kind](rng)
    painted = dated(rng, rows, kind, clocks=kind == "hour off" or rng.random() > 0.2)
    return _second_camera(rng, painted) if kind == "hour off" else painted


def lit_by(frame: FrameNumbers, stops: float) -> FrameNumbers:
    """The same frame with `stops` more light (less when negative).

    X, Y and Z grow by one factor, so that L* + 16, a* and b* grow by its cube root (CIE 1976 L*a*b*, CIE 15, above
    the linear part near black). Twelve portraits and painted frames at −3 to +0.7 stops were read so, within 0.4 L*.
    """
    root = 2 ** (stops / 3)

    def lightness(value: float) -> float:
        return max(0.0, min(100.0, (value + 16) * root - 16))

    def lit(lab: Lab | None) -> Lab | None:
        return None if lab is None else (lightness(lab[0]), lab[1] * root, lab[2] * root)

    face = None if frame.face is None else lightness(frame.face)
    return replace(frame, backdrop=lit(frame.backdrop), wardrobe=lit(frame.wardrobe), face=face)


def _jacket_off(rng: random.Random) -> list[Row]:
    shirt, jacket = two_of(rng, CLOTHES, 30)
    wall, _ = two_of(rng, BACKDROPS)
    light = light_of(rng)
    share = rng.uniform(0.5, 0.7)
    worn = tuple(share * j + (1 - share) * s for j, s in zip(jacket, shirt, strict=True))
    rows = run_of(rng, 0, rng.randint(15, 45), (worn[0], worn[1], worn[2]), wall, light)
    rows += run_of(rng, 1, rng.randint(8, 30), shirt, wall, light)
    return rows + run_of(rng, 0, rng.randint(8, 30), (worn[0], worn[1], worn[2]), wall, light)


def _close_and_full(rng: random.Random) -> list[Row]:
    """A close frame shows hardly any clothes; at full length the face is small and trousers are seen too."""
    one, other = two_of(rng, CLOTHES)
    wall, _ = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    for look, clothes in enumerate((one, other)):
        for part in rng.sample(("close", "half", "full"), 3):
            for frame, _ in run_of(rng, look, rng.randint(7, 22), clothes, wall, light):
                if part == "close" and rng.random() < 0.85:
                    frame = replace(frame, wardrobe=None)
                if part == "close" and rng.random() < 0.3:
                    frame = replace(frame, backdrop=None)
                if part == "full" and rng.random() < 0.3:
                    frame = replace(frame, light=None)
                elif part == "full" and frame.light is not None:
                    frame = replace(frame, light=(frame.light[0] + rng.gauss(0, 0.2), frame.light[1]))
                if part == "full" and frame.wardrobe is not None:
                    darker = frame.wardrobe[0] - 4 + rng.gauss(0, 2)
                    frame = replace(frame, wardrobe=(max(0.0, darker), *frame.wardrobe[1:]))
                rows.append((frame, look))
    return rows


def _another_lens(rng: random.Random) -> list[Row]:
    """A longer lens sees another piece of the same backdrop and a little more or less of the clothes."""
    one, other = two_of(rng, CLOTHES)
    wall, _ = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    for look, clothes in ((0, one), (1, other), (0, one)):
        for shift in (0.0, rng.choice((-1, 1)) * rng.uniform(2, 3.5)):
            behind = (wall[0] + shift, wall[1], wall[2])
            worn = (clothes[0] + shift * 0.7, clothes[1], clothes[2])
            rows += run_of(rng, look, rng.randint(8, 25), worn, behind, light)
    return rows


def _dimmed(rng: random.Random) -> list[Row]:
    one, other = two_of(rng, CLOTHES)
    wall, wall2 = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    for look, (clothes, behind) in enumerate(((one, wall), (other, wall), (other, wall2))):
        for stops in (0.0, -rng.uniform(0.6, 1.5)):
            for frame, _ in run_of(rng, look, rng.randint(8, 25), clothes, behind, light):
                rows.append((lit_by(frame, stops), look))
    return rows


def _misfires(rng: random.Random) -> list[Row]:
    one, other = two_of(rng, CLOTHES)
    wall, wall2 = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    dark = 0
    for look, (clothes, behind) in enumerate(((one, wall), (other, wall), (other, wall2))):
        for frame, _ in run_of(rng, look, rng.randint(15, 45), clothes, behind, light):
            if not dark and rng.random() < 0.06:
                dark = rng.choice((1, 1, 2, 3, 5))
            if dark:
                dark -= 1
                frame = replace(lit_by(frame, -rng.uniform(2, 4)), light=None if rng.random() < 0.5 else frame.light)
            rows.append((frame, look))
    return rows


def _treatments(rng: random.Random) -> list[Row]:
    one, other = two_of(rng, CLOTHES)
    wall, _ = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    for look, (clothes, mono) in enumerate(((one, False), (one, True), (other, False), (other, True))):
        rows += run_of(rng, look, rng.randint(6, 25), clothes, wall, light, mono=mono)
    return rows


def _late_extra(rng: random.Random) -> list[Row]:
    walls = rng.sample(list(BACKDROPS.values()), 2)
    clothes = rng.sample(["white", "black", "navy", "red", "mustard", "sky"], 4)
    light = light_of(rng)
    rows: list[Row] = []
    for look, name in enumerate(clothes):
        rows += run_of(rng, look, rng.randint(15, 40), CLOTHES[name], walls[look % 2], light)
    return rows + run_of(rng, 0, rng.randint(4, 8), CLOTHES[clothes[0]], walls[0], light)


def _hour_off(rng: random.Random) -> list[Row]:
    one, other = two_of(rng, CLOTHES)
    wall, wall2 = two_of(rng, BACKDROPS)
    light = light_of(rng)
    rows: list[Row] = []
    for look, (clothes, behind) in enumerate(((one, wall), (other, wall), (other, wall2), (one, wall2))):
        rows += run_of(rng, look, rng.randint(20, 50), clothes, behind, light)
    return rows


def _second_camera(rng: random.Random, painted: Sitting) -> Sitting:
    """Three of ten frames come from another body whose clock is an hour off."""
    wrong = timedelta(hours=rng.choice((-1, 1)), seconds=rng.randint(-20, 20))
    number = rng.randint(1, 9000)
    frames, look_of = [], {}
    for frame in painted.frames:
        look = painted.look_of[frame.id]
        if rng.random() < 0.3 and frame.captured_at is not None:
            number += 1
            frame = replace(
                frame, id=f"B{number:04d}", camera="B", sequence=number, captured_at=frame.captured_at + wrong
            )
        frames.append(frame)
        look_of[frame.id] = look
    return Sitting(tuple(frames), look_of, painted.kinds)
