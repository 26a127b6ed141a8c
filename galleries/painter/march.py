"""Which point of the head each pixel sees: rays walked through the relief, coarse first, then halved."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .noise import Field
from .pose import PIVOT, View
from .relief import AXIS, BOTTOM, TOP, Relief, columns_of, rows_of

NEAR, FAR, STEP = 46.0, -104.0, 7.5


@dataclass(frozen=True)
class HeadHit:
    """Per pixel of a window of the picture: table column and row, depth toward the camera, gap to the head.

    `gap` in mm is negative inside the head and grows outside, so that its zero is a smooth outline.
    """

    left: int
    top: int
    column: Field
    row: Field
    depth: Field
    gap: Field


def _lookup(table: Field, column: Field, row: Field) -> Field:
    return cv2.remap(table, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def head_window(view: View) -> tuple[int, int, int, int]:
    """left, top, right, bottom of the part of the picture a head may cover."""
    corners = np.array([[x, y, z] for x in (-100, 100) for y in (TOP - 4, BOTTOM) for z in (-95, 40)], float)
    seen = view.to_pixels(corners)
    left, top = np.floor(seen.min(axis=0)).astype(int)
    right, bottom = np.ceil(seen.max(axis=0)).astype(int)
    return max(left, 0), max(top, 0), min(right, view.width), min(bottom, view.height)


def march(view: View, relief: Relief) -> HeadHit:
    """Walk a ray per pixel of the head's window. `view` is at the scale wanted for the result."""
    left, top, right, bottom = head_window(view)
    px, py = np.meshgrid(np.arange(left, right, dtype=np.float32), np.arange(top, bottom, dtype=np.float32))
    camera_x = (px - view.origin[0]) / view.scale - PIVOT[0]
    camera_y = (py - view.origin[1]) / view.scale - PIVOT[1]
    back = view.pose.matrix().T.astype(np.float32)
    base = [back[i, 0] * camera_x + back[i, 1] * camera_y + np.float32(PIVOT[i]) for i in range(3)]

    def gap_at(depth: Field | float) -> tuple[Field, Field, Field]:
        z = depth - np.float32(PIVOT[2])
        x, y, ahead = base[0] + back[0, 2] * z, base[1] + back[1, 2] * z, base[2] + back[2, 2] * z + np.float32(AXIS)
        column, row = columns_of(np.arctan2(x, ahead)), rows_of(y)
        beyond = np.maximum(np.maximum(TOP + 4.0 - y, y - BOTTOM), 0.0)
        return np.hypot(x, ahead) - _lookup(relief.radius, column, row) + beyond, column, row

    shape = px.shape
    least = np.full(shape, 1e3, np.float32)
    least_at, before, inside_at = (np.full(shape, NEAR, np.float32) for _ in range(3))
    hit = np.zeros(shape, bool)
    for depth in np.arange(NEAR, FAR, -STEP, dtype=np.float32):
        gap, _, _ = gap_at(float(depth))
        fresh = (gap < 0) & ~hit
        inside_at[fresh], before[fresh] = depth, depth + STEP
        hit |= fresh
        closer = gap < least
        least_at[closer] = depth
        np.minimum(least, gap, out=least)
    high, low = np.where(hit, before, least_at), np.where(hit, inside_at, least_at)
    for _ in range(6):
        middle = (high + low) * np.float32(0.5)
        gap, _, _ = gap_at(middle)
        outside = gap > 0
        high, low = np.where(outside, middle, high), np.where(outside, low, middle)
    _, column, row = gap_at(low)
    return HeadHit(left, top, column, row, np.asarray(low, np.float32), least)
