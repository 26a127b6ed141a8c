"""Resizing once, to the exact pixel."""

from __future__ import annotations

from typing import Any

from numpy.typing import NDArray

from galleries.imaging import vips


def resize_to(pixels: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """(h, w, 3) pixels at exactly width × height by Lanczos (a = 3), anti-aliased when shrinking."""
    if pixels.shape[:2] == (height, width):
        return pixels
    image = vips.from_array(pixels)
    image = image.resize(width / image.width, vscale=height / image.height, kernel="lanczos3")
    if (image.width, image.height) != (width, height):
        image = image.gravity("centre", width, height, extend="copy")
    return vips.to_array(image)
