"""The finest surface: pores of the skin, threads of the cloth, as shades over the enlarged picture."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from galleries.imaging.arrays import Pixels

from .noise import BAND, Field, rng_for, widened

TILE = BAND


@lru_cache(maxsize=4)
def _pores(scale: float, seed: int) -> Field:
    noise = rng_for(seed, 27).standard_normal((TILE, TILE)).astype(np.float32)
    pad = cv2.copyMakeBorder(noise, 32, 32, 32, 32, cv2.BORDER_WRAP)
    fine = cv2.GaussianBlur(pad, (0, 0), max(0.10 * scale, 0.4))
    broad = cv2.GaussianBlur(pad, (0, 0), max(0.30 * scale, 0.9))
    pores = (fine / fine.std() - 0.75 * broad / broad.std())[32:-32, 32:-32]
    return np.asarray(np.minimum(pores, 1.2) * 0.020 + broad[32:-32, 32:-32] / broad.std() * 0.007, np.float32)


@lru_cache(maxsize=6)
def _cloth(kind: str, scale: float, seed: int) -> Field:
    """A tile of cloth that closes on itself; the thread's spacing is rounded to do so."""
    spacing = {"knit": 3.4, "weave": 0.62, "jersey": 0.95}[kind]
    threads = max(2, round(TILE / max(spacing * scale, 2.2)))
    yy, xx = np.mgrid[0:TILE, 0:TILE].astype(np.float32) * np.float32(2 * np.pi * threads / TILE)
    uneven = rng_for(seed, 43).standard_normal((TILE, TILE)).astype(np.float32)
    uneven = cv2.GaussianBlur(cv2.copyMakeBorder(uneven, 8, 8, 8, 8, cv2.BORDER_WRAP), (0, 0), 1.2)[8:-8, 8:-8]
    if kind == "knit":
        stitch = np.cos(xx) * 0.055 + 0.05 * np.cos(2 * yy + 1.9 * np.abs(np.sin(xx / 2)) * 2.0)
    elif kind == "weave":
        stitch = 0.030 * np.cos(xx) * np.cos(yy) + 0.016 * np.cos(xx + yy)
    else:
        stitch = 0.026 * np.cos(xx) + 0.018 * np.cos(2 * yy + np.cos(xx))
    return np.asarray(stitch + 0.035 * uneven / uneven.std(), np.float32)


def add_texture(picture: Pixels, skin: Field, cloth: Field, kind: str, scale: float, seed: int) -> None:
    """Multiply the picture (h, w, 3) by the textures where the coarser masks say so, in place."""
    height, width = picture.shape[:2]
    weight = min(1.0, scale / 5.0)  # seen from afar threads and pores melt away
    pores = widened(_pores(round(scale, 2), seed), width)
    threads = widened(_cloth(kind, round(scale, 2), seed), width)
    small = np.stack([skin, cloth], axis=2)
    rows_of_mask = small.shape[0] / height
    for top in range(0, height, BAND):
        stop = min(top + BAND, height)
        first, last = int(top * rows_of_mask), int(np.ceil(stop * rows_of_mask))
        masks = cv2.resize(small[first:last], (width, stop - top), interpolation=cv2.INTER_LINEAR)
        shade = masks[..., 0] * pores[: stop - top] + masks[..., 1] * threads[: stop - top]
        factor = np.float32(weight) * shade + np.float32(1.0)
        picture[top:stop] = cv2.multiply(picture[top:stop], cv2.merge([factor] * 3), dtype=cv2.CV_8U)
