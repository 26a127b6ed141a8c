"""Clothes the invented actors wear."""

from __future__ import annotations

from dataclasses import dataclass

from .people import Colour


@dataclass(frozen=True)
class Garment:
    """Cut, colours in linear light, and how the cloth behaves."""

    words: str
    cut: str  # "crew", "roll", "shirt" or "jacket"
    colour: Colour
    under: Colour  # what shows at the neck of a jacket; buttons of a shirt
    cloth: str  # "knit", "weave" or "jersey"
    folds: float


WARDROBE: dict[str, Garment] = {
    "jumper": Garment("moss green jumper, round neck", "crew", (0.060, 0.085, 0.045), (0.3, 0.3, 0.3), "knit", 0.8),
    "shirt": Garment("pale blue shirt, open collar", "shirt", (0.30, 0.40, 0.52), (0.65, 0.63, 0.58), "weave", 1.1),
    "tee": Garment("brick red T-shirt", "crew", (0.20, 0.042, 0.030), (0.3, 0.3, 0.3), "jersey", 1.2),
    "jacket": Garment("navy jacket over a white T-shirt", "jacket", (0.018, 0.024, 0.045), (0.58, 0.57, 0.55),
                      "weave", 0.7),
    "roll": Garment("black roll neck", "roll", (0.018, 0.018, 0.019), (0.3, 0.3, 0.3), "knit", 0.8),
}  # fmt: skip
