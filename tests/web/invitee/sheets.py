"""Frames with small painted proofs in the store, for pages that show pictures."""

from __future__ import annotations

import io

from PIL import Image, ImageDraw

from galleries import storage
from galleries.models import Frame, Look, Proof
from tests.cast import Cast

READING = {
    "width": 4000,
    "height": 6000,
    "read_scale": 0.5,
    "face_reason": "",
    "face": {
        "box": [1500, 1500, 1000, 1300], "right_eye": [1799.5, 1999.5], "left_eye": [2199.5, 1999.5],
        "right_openness": 0.3, "left_openness": 0.3, "iris_radius_right": 30, "iris_radius_left": 30,
        "roll_deg": 0.0, "crown_y": 1200.0, "crown_uncertainty": 60.0, "crown_measured": True, "chin": [2000, 2900],
        "forehead": [2000, 1500], "mouth": [2000, 2500], "yaw_hint": 0.0, "score": 0.9,
    },
}  # fmt: skip


def picture(width: int, height: int, shade: int = 120) -> bytes:
    image = Image.new("RGB", (width, height), (shade, shade, shade))
    draw = ImageDraw.Draw(image)
    draw.ellipse([width * 0.3, height * 0.2, width * 0.7, height * 0.55], fill=(200, 160, 140))
    for x in (0.42, 0.58):
        draw.ellipse([width * (x - 0.03), height * 0.32, width * (x + 0.03), height * 0.345], fill=(30, 30, 30))
    out = io.BytesIO()
    image.save(out, "JPEG", quality=70)
    return out.getvalue()


def proved(
    cast: Cast, number: int, look: Look | None = None, *, large: tuple[int, int] = (400, 600), **fields: object
) -> Frame:
    """A frame whose stamped proofs lie in the store (painted, not made by the recipe)."""
    frame = cast.frame(number, look, **{"reading": READING, **fields})
    keys, sizes = {"middle": ""}, {"proof": large, "small": (80, 120)}
    if max(large) > 1080:
        sizes["middle"] = (round(large[0] * 1080 / max(large)), round(large[1] * 1080 / max(large)))
    for kind, (width, height) in sizes.items():
        key = storage.derived_key(cast.sitting.uid, kind, f"{number:064x}")
        storage.put(storage.proofs(), key, picture(width, height, 60 + number % 120))
        keys[kind] = key
    Proof.objects.create(
        frame=frame, recipe="p-test", large_key=keys["proof"], large_width=large[0], large_height=large[1],
        middle_key=keys["middle"], small_key=keys["small"], small_width=80, small_height=120,
    )  # fmt: skip
    return frame


def filled(cast: Cast, looks: int = 2, each: int = 3) -> list[Frame]:
    """A small sheet: frames 1, 2, 3 … over some looks."""
    frames: list[Frame] = []
    for n in range(looks):
        purpose = Look.Purpose.CASTING if n % 2 == 0 else Look.Purpose.PORTFOLIO
        look = cast.look(f"Look of {['linen', 'wool', 'denim', 'velvet'][n % 4]}", purpose=purpose)
        frames += [proved(cast, n * each + i + 1, look) for i in range(each)]
    return frames
