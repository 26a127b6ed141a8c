"""From linear light to the picture: a soft shoulder, the display curve, and the black-and-white treatment."""

from __future__ import annotations

import cv2
import numpy as np

from galleries.imaging.arrays import Pixels

from .noise import Field


def develop(linear: Field, treatment: str = "colour") -> Field:
    """Linear (…, 3) to display values 0..1. A gentle film-like curve; mono mixes the channels toward red."""
    if treatment == "black and white":
        grey = linear @ np.array([0.42, 0.44, 0.14], np.float32)
        linear = np.stack([grey] * 3, axis=-1) * np.float32(1.08)
    exposed = 1.0 - np.exp(np.maximum(linear, 0.0) * np.float32(-1.45))
    shown = exposed ** np.float32(1 / 2.2)
    strength = 0.40 if treatment == "black and white" else 0.18
    curved = shown + np.float32(strength) * shown * (1.0 - shown) * (2.0 * shown - 1.0)
    return np.asarray(curved, np.float32)


def to_bytes(picture: Field) -> Pixels:
    """Display values 0..1 to 0..255, rounded."""
    return np.asarray(np.clip(picture * np.float32(255.0) + np.float32(0.5), 0.0, 255.0).astype(np.uint8))


def to_values(pixels: Pixels) -> Field:
    return np.asarray(pixels.astype(np.float32) * np.float32(1.0 / 255.0))


def enlarge(pixels: Pixels, width: int, height: int) -> Pixels:
    """At full size pictures are kept in bytes: memory, not arithmetic, is what 24 megapixels cost."""
    return np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_CUBIC))
