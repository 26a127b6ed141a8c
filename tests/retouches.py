"""What retouchers do, as functions on (h, w, 3) uint8 pixels: some that leave the shape of a face alone, some not."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageOps

Pixels = Any


def calm(rgb: Pixels) -> Pixels:
    return cv2.bilateralFilter(rgb, 13, 40, 13)


def warm(rgb: Pixels) -> Pixels:
    return np.clip(255 * (rgb / 255.0) ** 0.75 * np.array([1.05, 1.0, 0.9]), 0, 255).astype(np.uint8)


def contrast(rgb: Pixels) -> Pixels:
    x = rgb / 255.0
    return np.clip(255 * x * x * (3 - 2 * x), 0, 255).astype(np.uint8)


def grey(rgb: Pixels) -> Pixels:
    return np.dstack([cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)] * 3)


def cropped(rgb: Pixels) -> Pixels:
    h, w = rgb.shape[:2]
    return np.ascontiguousarray(rgb[int(0.06 * h) : int(0.86 * h), int(0.12 * w) : int(0.9 * w)])


def turned(rgb: Pixels) -> Pixels:
    h, w = rgb.shape[:2]
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), 3, 1.05)
    return cv2.warpAffine(rgb, matrix, (w, h), borderMode=cv2.BORDER_REFLECT)


def smaller(rgb: Pixels) -> Pixels:
    h, w = rgb.shape[:2]
    return cv2.resize(rgb, (w // 2, h // 2), interpolation=cv2.INTER_AREA)


def everything(rgb: Pixels) -> Pixels:
    return jpeg_again(smaller(warm(cropped(calm(rgb)))))


def jpeg_again(rgb: Pixels, quality: int = 70) -> Pixels:
    return opened(as_jpeg(rgb, quality))


HARMLESS: dict[str, Callable[[Pixels], Pixels]] = {
    function.__name__: function
    for function in (calm, warm, contrast, grey, cropped, turned, smaller, jpeg_again, everything)
}


def pushed(rgb: Pixels, moves: list[tuple[float, float, float, float]], spread: float) -> Pixels:
    """Push the picture about: each (x, y, dx, dy) moves what is at x, y, fading off over `spread` pixels."""
    h, w = rgb.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    dx, dy = np.zeros((h, w), np.float32), np.zeros((h, w), np.float32)
    for x, y, mx, my in moves:
        bell = np.exp(-((xx - x) ** 2 + (yy - y) ** 2) / (2 * spread * spread))
        dx += mx * bell
        dy += my * bell
    return cv2.remap(rgb, xx - dx, yy - dy, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


def grown(rgb: Pixels, at: tuple[float, float], radius: float, by: float) -> Pixels:
    """Enlarge what lies about a point by the share `by`, fading off towards `radius`."""
    h, w = rgb.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    reach = np.hypot(xx - at[0], yy - at[1]) / radius
    amount = np.minimum(1, 1.6 * np.where(reach < 1, 1 - reach * reach, 0)).astype(np.float32) * (by / (1 + by))
    return cv2.remap(rgb, at[0] + (xx - at[0]) * (1 - amount), at[1] + (yy - at[1]) * (1 - amount), cv2.INTER_CUBIC)


def opened(data: bytes) -> Pixels:
    """Upright pixels, the profile not looked at."""
    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(ImageOps.exif_transpose(picture).convert("RGB"))


def as_jpeg(rgb: Pixels, quality: int = 92) -> bytes:
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, "JPEG", quality=quality)
    return out.getvalue()
