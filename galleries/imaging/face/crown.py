"""The top of the head measured against the backdrop, where the backdrop is plain enough; otherwise left estimated."""

from __future__ import annotations

import cv2
import numpy as np

from galleries.imaging.arrays import Pixels
from galleries.imaging.face.models import shrunk
from galleries.imaging.face.ranks import median, medians

_EYE_SPAN = 24  # the picture is shrunk until the eyes lie this many pixels apart: hair is no finer for this purpose
_BAND = 0.6  # half-width of the strip over the face, in eye distances
_CLEAR = 1.9  # backdrop is looked for from here outward, in eye distances from the middle
_LEAST = 6.0  # difference in CIE Lab from the backdrop that counts as head
_SHARE = 0.35  # share of a strip's row that must differ


def crown_against_backdrop(
    rgb: Pixels,
    middle: tuple[float, float],
    eye_distance: float,
    forehead_y: float,
    below: float,
    half: Pixels | None = None,
) -> float | None:
    """The y of the hair's top over the point `middle` between the eyes, or None when it cannot be told.

    `below` is the distance from eyes to chin: an answer far from what a head of that size allows is dropped.
    The picture is read upward from the forehead until rows look like the backdrop beside the head. `half` as in
    `models.shrunk`.
    """
    scale = min(1.0, _EYE_SPAN / max(eye_distance, 1e-6))
    bottom = int(min(rgb.shape[0], max(0.0, middle[1]) + 1))
    if bottom * scale < 8:
        return None
    size = (max(8, round(rgb.shape[1] * scale)), max(8, round(bottom * scale)))
    small = shrunk(rgb[:bottom], *size, half).astype(np.float32) / np.float32(255)
    # Colour by colour, (3, h, w): what is done to rows is then done to many numbers at once.
    lab = np.ascontiguousarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB).transpose(2, 0, 1))
    x, span = middle[0] * size[0] / rgb.shape[1], eye_distance * size[0] / rgb.shape[1]
    left, right = lab[..., : max(0, int(x - _CLEAR * span))], lab[..., int(x + _CLEAR * span) :]
    left, right = left[..., -int(2 * span) :], right[..., : int(2 * span)]
    beside = [side for side in (left, right) if side.shape[2] >= max(3.0, span / 4)]
    if not beside:
        return None
    sides = [medians(side.reshape(-1, side.shape[2])).reshape(3, -1, 1) for side in beside]
    noises = [float(np.abs(side - middle).mean()) for side, middle in zip(beside, sides, strict=True)]
    noise = sum(noises) / len(noises)
    band = lab[..., max(0, int(x - _BAND * span)) : int(x + _BAND * span) + 1]
    across = (np.arange(band.shape[2]) / max(1, band.shape[2] - 1) - 0.5) * _BAND / _CLEAR + 0.5
    apart = np.sqrt(((band - (sides[0] * (1 - across) + sides[-1] * across)) ** 2).sum(axis=0))
    uneven = median(np.sqrt(((sides[0] - sides[-1]) ** 2).sum(axis=0)))
    floor = max(_LEAST, 4 * noise, 0.4 * uneven)
    share = (apart > floor).mean(axis=1)
    head = share > _SHARE
    row = min(len(head) - 1, int(forehead_y * size[1] / bottom))
    if not (head[row] or (row > 0 and head[row - 1])):
        return None  # no head is seen at the forehead
    while row >= 0 and (head[row] or (row > 0 and head[row - 1])):
        row -= 1
    if row < 1:
        return None  # reaches the frame's edge, or the backdrop is no plain one
    # Where between the middles of both rows the share is reached: by whole rows a crown would leap by 20 px of a frame.
    top = row + 0.5 + (_SHARE - share[row]) / (share[row + 1] - share[row])
    crown = float(top) * bottom / size[1]
    expected = middle[1] - below
    return crown if expected - below <= crown <= expected + 0.3 * below else None
