"""From linear light to the picture: a soft shoulder, the display curve, and the black-and-white treatment."""

from __future__ import annotations

import cv2
import numpy as np

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


def enlarge(picture: Field, width: int, height: int) -> Field:
    if picture.shape[1] == width and picture.shape[0] == height:
        return picture.copy()
    return cv2.resize(picture, (width, height), interpolation=cv2.INTER_CUBIC)
