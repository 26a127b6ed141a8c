"""Resizing once, to the exact pixel, and turning a tilted crop upright.

Lanczos (a = 3) on the encoded values, not in linear light. Linear light would be optically truer for patterns
as fine as a pixel (bright hair keeps its light), but it deepens the dark rim beside a bright edge on a dark
backdrop, where the eye is most sensitive; frames here shrink by 1.3 to 3 times, the half-size decode of proofs
already averages encoded values, and a final should look like the proof that was picked. The tests state the
likeness to a float reference and bound the overshoot at a hair before a bright backdrop.

A proof's light is a plane and goes the faster way of `shrink_planes`. Of libvips' time for RGB (26 ms of CPU for 3000 ×
2000 px) its horizontal half takes two thirds. Tried: Lanczos of two lobes or cubic a quarter to a third less, but 45 dB
from a float reference where this is 50; four bands instead of three the same; Pillow 120; a Rust resizer with AVX2
(cykooz-resizer) 16, and as much again for the copies that its binding makes.
"""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.containers import vips
from galleries.imaging.framing.geometry import Rect


def _resized(image: vips.Image, width: int, height: int) -> vips.Image:
    image = image.resize(width / image.width, vscale=height / image.height, kernel="lanczos3")
    if (image.width, image.height) != (width, height):  # rounding inside the library, one pixel at most
        image = image.gravity("centre", width, height, extend="copy")
    return image


def resize_to(pixels: NDArray[Any], width: int, height: int, part: Rect | None = None) -> NDArray[Any]:
    """(h, w, 3) pixels, or the `part` of them, at exactly width × height by Lanczos (a = 3), anti-aliased
    when shrinking. A view of `pixels` when nothing is to be resized."""
    if part is None:
        part = Rect(0, 0, pixels.shape[1], pixels.shape[0])
    if (part.width, part.height) == (width, height):
        return pixels[part.y : part.bottom, part.x : part.right]
    image = vips.from_array(pixels).crop(part.x, part.y, part.width, part.height)
    return vips.to_array(_resized(image, width, height))


def plain_average(pixels: NDArray[Any], width: int, height: int) -> NDArray[Any]:
    """A soft resize that cannot overshoot: halved two by two while possible, then between neighbours."""
    while pixels.shape[1] >= 2 * width and pixels.shape[0] >= 2 * height:
        half = (pixels.shape[1] // 2, pixels.shape[0] // 2)
        even = pixels[: 2 * half[1], : 2 * half[0]]  # only an even size is averaged fast
        pixels = cv2.resize(even, half, interpolation=cv2.INTER_AREA)
    return cv2.resize(pixels, (width, height), interpolation=cv2.INTER_LINEAR)


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
