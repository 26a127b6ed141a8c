"""Smooth random fields: the raw material of canvas, cloth, skin and hair."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]
BAND = 512  # rows worked on at a time, and the side of every tile of texture


def rng_for(*key: int) -> np.random.Generator:
    """A generator of its own for each purpose, so that one more random number moves nothing else."""
    return np.random.default_rng(list(key))


def smooth_noise(rng: np.random.Generator, height: int, width: int, cell_y: float, cell_x: float) -> Field:
    """Noise of about unit deviation (height, width) that changes over cells of the given size in pixels."""
    rows, columns = int(np.ceil(height / cell_y)) + 4, int(np.ceil(width / cell_x)) + 4
    grid = rng.standard_normal((rows, columns)).astype(np.float32)
    full = cv2.resize(grid, (max(width, int(columns * cell_x)), max(height, int(rows * cell_y))),
                      interpolation=cv2.INTER_CUBIC)  # fmt: skip
    return np.ascontiguousarray(full[:height, :width])


def cloud(rng: np.random.Generator, height: int, width: int, cell: float, octaves: int = 4) -> Field:
    """Noise summed over octaves, each half the size and a bit over half the strength."""
    total = np.zeros((height, width), np.float32)
    strength = 1.0
    for _ in range(octaves):
        total += strength * smooth_noise(rng, height, width, max(cell, 1.0), max(cell, 1.0))
        cell, strength = cell / 2, strength * 0.55
    return total


@lru_cache(maxsize=4)
def grain_tile(side: int, softness: float, key: int) -> Field:
    """A square of film-like grain, unit deviation, that repeats without a seam."""
    grain = rng_for(key, 911).standard_normal((side, side)).astype(np.float32)
    pad = cv2.copyMakeBorder(grain, 16, 16, 16, 16, cv2.BORDER_WRAP)
    soft = cv2.GaussianBlur(pad, (0, 0), softness)[16:-16, 16:-16]
    return np.ascontiguousarray(soft / soft.std())


def widened(tile: Field, width: int, shift: tuple[int, int] = (0, 0)) -> Field:
    """The tile repeated sideways to (its height, width), begun at the given shift: one band of a picture."""
    moved = np.roll(tile, shift, axis=(0, 1))
    return np.ascontiguousarray(np.tile(moved, (1, -(-width // tile.shape[1])))[:, :width])


def smoothstep(low: float, high: float, value: Field) -> Field:
    """0 below low, 1 above high, smooth between (low may be above high: then it falls)."""
    t = np.clip((value - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3.0 - 2.0 * t), np.float32)


def bell(x: Field, y: Field, at: tuple[float, float], spread: tuple[float, float]) -> Field:
    """A Gaussian hill of height 1."""
    across, down = (x - at[0]) / spread[0], (y - at[1]) / spread[1]
    across *= across
    down *= down
    away = across + down
    np.negative(away, out=away)
    return np.asarray(np.exp(away, out=away))
