"""What hangs behind the sitter: mottled canvas, falloff of the light, the glow of a gelled lamp."""

from __future__ import annotations

import cv2
import numpy as np

from .noise import Field, cloud, rng_for
from .plan import Backdrop


def paint_backdrop(
    ground: Backdrop, seed: int, width: int, height: int, zoom: float, shift: tuple[float, float]
) -> Field:
    """Linear-light picture (height, width, 3). `zoom` is 1 for a head framing and smaller when further away;
    `shift` moves the canvas by pixels, as a step of the camera would."""
    rng = rng_for(seed, 61, sum(map(ord, ground.name)))
    side = 256
    mottle = cloud(rng, side, side, 52.0, 5)
    warmth = cloud(rng, side, side, 90.0, 3)
    yy, xx = np.mgrid[0:height, 0:width].astype(np.float32)
    reach = max(width, height)
    gx = (xx + shift[0] - width / 2) / reach / zoom * 0.62 * side + side / 2
    gy = (yy + shift[1] - height / 2) / reach / zoom * 0.62 * side + side / 2

    pattern = cv2.remap(mottle, gx, gy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    tint = cv2.remap(warmth, gx, gy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    colour = np.asarray(ground.colour, np.float32)
    light = np.exp(ground.mottle * 0.55 * pattern)
    centre = ((xx / width - 0.5) ** 2 + ((yy / height - 0.42) * 1.05 * height / width * 0.75) ** 2) * 2.4
    light = light * (1.0 - ground.falloff * np.clip(centre * zoom**0.5, 0.0, 1.0) ** 0.8 * 0.75)
    shades = np.stack([light * (1 + 0.05 * tint), light, light * (1 - 0.06 * tint)], axis=2) * colour
    if max(ground.glow) > 0:
        away = (xx / width - ground.glow_at[0]) ** 2 + ((yy - ground.glow_at[1] * height) / width) ** 2
        glow = np.exp(-away / ground.glow_size**2 * 2.2) * np.exp(0.10 * pattern)
        shades = shades + glow[..., None] * np.asarray(ground.glow, np.float32)
    return np.asarray(shades, np.float32)
