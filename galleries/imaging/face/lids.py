"""How far the upper lid has come down over the iris, read from the pixels.

The landmarks of a face lean towards open eyes: of a lid brought down by half they give 0.8 of the usual opening. What
eye doctors measure for a drooping lid, the margin reflex distance 1 (from the reflex in the middle of the pupil to the
edge of the upper lid), is read here along the middle of the iris: the eye differs from the skin below it, the lid
hardly does. A squinting smile lifts the lower lid and leaves it much as it is.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.face.faces import Point
from galleries.imaging.face.ranks import medians, percentile
from galleries.imaging.face.views import packed

_WIDTH = 64  # samples between the corners of the eye
_ACROSS, _DOWN = 40, 44  # samples on each side of the middle
_LEAST_WIDTH = 24.0  # pixels between the corners under which the lid's edge is not read
_BELOW, _BESIDE = (22, 34), 20  # where the skin under the eye is, in samples
_CHROMA = 1.5  # what a difference of colour counts for against one of lightness: the lid lies in its own shade
_EDGE = 0.45  # of the eye's own difference from skin: where the lid begins


def reflex_distance(rgb: Pixels, iris: Point, radius: float, lid: tuple[Point, ...]) -> float | None:
    """From the middle of the iris up to the edge of the upper lid, as a share of the eye's width; negative when the
    lid is below that middle. None where the eye is too small, leaves the picture, or hardly differs from the skin.

    rgb: (h, w, 3) uint8, any RGB profile; `iris`, `radius` and `lid` (16 points from corner to corner, see `Face`) in
    its pixels.
    """
    if len(lid) < 9:
        return None
    one, other = sorted((np.array(lid[0]), np.array(lid[8])), key=lambda corner: float(corner[0]))
    width = math.dist(one, other)
    if width < _LEAST_WIDTH:
        return None
    step, along = width / _WIDTH, (other - one) / width
    middle, across = (one + other) / 2, np.array([-along[1], along[0]])
    sampled = _sampled(rgb, middle, along * step, across * step, step)
    if sampled is None:
        return None
    from_middle = np.array(iris) - middle
    iris_u, iris_v, iris_r = float(from_middle @ along) / step, float(from_middle @ across) / step, radius / step
    profile = _unlike_skin(sampled, iris_u, 0.5 * iris_r)
    rows = np.arange(-_DOWN, _DOWN + 1)
    inside = (rows > iris_v - 1.3 * iris_r) & (rows < iris_v + 1.5 * iris_r)
    if not inside.any():
        return None
    at = int(np.argmax(np.where(inside, profile, -1)))
    within = profile[(rows > iris_v - iris_r) & (rows < iris_v + iris_r)]
    if within.size == 0 or profile[at] < 8:
        return None
    edge = _EDGE * percentile(within, 90)
    while at > 0 and profile[at - 1] > edge:
        at -= 1
    upper = float(rows[at])
    if at > 0 and profile[at] > edge:  # where between two rows the edge is reached, not on which of them
        upper += 0.5 - float((profile[at] - edge) / (profile[at] - profile[at - 1]))
    return (iris_v - upper) / _WIDTH


def _sampled(rgb: Pixels, middle: Floats, along: Floats, across: Floats, step: float) -> Floats | None:
    """Lab on a grid that lies along the eye; None when it leaves the picture."""
    u, v = np.arange(-_ACROSS, _ACROSS + 1)[None, :], np.arange(-_DOWN, _DOWN + 1)[:, None]
    x, y = (middle[axis] + u * along[axis] + v * across[axis] for axis in (0, 1))
    left, top = math.floor(x.min()) - 2, math.floor(y.min()) - 2
    right, bottom = math.ceil(x.max()) + 3, math.ceil(y.max()) + 3
    if left < 0 or top < 0 or right > rgb.shape[1] or bottom > rgb.shape[0]:
        return None
    part = packed(rgb[top:bottom, left:right])
    if step > 0.8:  # fine detail between the samples would alias
        part = cv2.GaussianBlur(part, (0, 0), 0.6 * step)
    grid = cv2.remap(part, (x - left).astype(np.float32), (y - top).astype(np.float32), cv2.INTER_LINEAR)
    return np.asarray(cv2.cvtColor(grid.astype(np.float32) / 255, cv2.COLOR_RGB2LAB))


def _unlike_skin(lab: Floats, middle: float, reach: float) -> Floats:
    """How far each row differs from the skin under the eye, over the columns within `reach` of `middle`."""
    below = lab[_DOWN + _BELOW[0] : _DOWN + _BELOW[1], _ACROSS - _BESIDE : _ACROSS + _BESIDE]
    columns = np.abs(np.arange(-_ACROSS, _ACROSS + 1) - middle) <= max(reach, 1)
    apart = (lab[:, columns] - medians(below.reshape(-1, 3).T)) * (1, _CHROMA, _CHROMA)
    return np.asarray(np.sqrt((apart**2).sum(axis=2)).mean(axis=1))
