"""Resizing once, to the exact pixel, and turning a tilted crop upright."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging import vips
from galleries.imaging.geometry import Rect


def resize_image(image: vips.Image, width: int, height: int) -> vips.Image:
    """As `resize_to`, on a libvips picture not computed yet."""
    if (image.width, image.height) == (width, height):
        return image
    image = image.resize(width / image.width, vscale=height / image.height, kernel="lanczos3")
    if (image.width, image.height) != (width, height):  # rounding inside the library, one pixel at most
        image = image.gravity("centre", width, height, extend="copy")
    return image


def resize_to(pixels: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """(h, w, 3) pixels at exactly width × height by Lanczos (a = 3), anti-aliased when shrinking."""
    if pixels.shape[:2] == (height, width):
        return pixels
    return vips.to_array(resize_image(vips.from_array(pixels), width, height))


def shrink_far(pixels: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """As `resize_to`; when shrinking at least fourfold the pixels are first averaged two by two, which costs
    a third and changes nothing visible: the Lanczos step still works from twice the size."""
    if pixels.shape[1] >= 4 * width and pixels.shape[0] >= 4 * height:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        even = pixels[: 2 * half[1], : 2 * half[0]]  # only an even size is averaged fast
        pixels = cv2.resize(even, half, interpolation=cv2.INTER_AREA)
    return resize_to(pixels, width, height)


def fit_within(width: int, height: int, long_side: int) -> tuple[int, int]:
    """The size with the long side at `long_side` and the same shape; never enlarged."""
    longest = max(width, height)
    if longest <= long_side:
        return width, height
    return (
        max(1, (2 * width * long_side + longest) // (2 * longest)),
        max(1, (2 * height * long_side + longest) // (2 * longest)),
    )


def cut_turned(pixels: NDArray[Any], rect: Rect, tilt_deg: float) -> NDArray[Any]:
    """The pixels under a turned crop (see `geometry.from_turned`), at the crop's own size, by cubic sampling.

    Only the crop's neighbourhood is looked at; parts outside the frame repeat its edge.
    """
    theta = math.radians(tilt_deg)
    cos, sin = math.cos(theta), math.sin(theta)
    cx, cy = rect.centre
    reach = math.ceil(math.hypot(rect.width, rect.height) / 2) + 4
    left, top = max(0, math.floor(cx) - reach), max(0, math.floor(cy) - reach)
    part = np.ascontiguousarray(pixels[top : math.ceil(cy) + reach, left : math.ceil(cx) + reach])
    u, v = (rect.width - 1) / 2, (rect.height - 1) / 2
    x, y = cx - 0.5 - left, cy - 0.5 - top
    back = np.array([[cos, -sin, x - cos * u + sin * v], [sin, cos, y - sin * u - cos * v]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(part, back, (rect.width, rect.height), flags=flags, borderMode=cv2.BORDER_REPLICATE)
