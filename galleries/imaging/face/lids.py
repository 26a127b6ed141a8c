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
_ACROSS_ALL, _DOWN_ALL = np.arange(-_ACROSS, _ACROSS + 1), np.arange(-_DOWN, _DOWN + 1)
_CORNERS = np.array([(-_ACROSS, _ACROSS, -_ACROSS, _ACROSS), (-_DOWN, -_DOWN, _DOWN, _DOWN)])
_SKIN = np.tile(np.arange(-_BESIDE, _BESIDE), _BELOW[1] - _BELOW[0]), np.repeat(np.arange(*_BELOW), 2 * _BESIDE)
_CHROMA = 1.5  # what a difference of colour counts for against one of lightness: the lid lies in its own shade
_WEIGHTS = np.array([1, _CHROMA, _CHROMA])[:, None, None]
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
    from_middle = np.array(iris) - middle
    iris_u, iris_v, iris_r = float(from_middle @ along) / step, float(from_middle @ across) / step, radius / step
    columns = _ACROSS_ALL[np.abs(_ACROSS_ALL - iris_u) <= max(0.5 * iris_r, 1)]
    if not len(columns):
        return None
    sampled = _sampled(rgb, middle, along * step, across * step, step, columns)
    if sampled is None:
        return None
    profile, rows = _unlike_skin(*sampled), _DOWN_ALL
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


def _sampled(
    rgb: Pixels, middle: Floats, along: Floats, across: Floats, step: float, columns: Floats
) -> tuple[Floats, Floats] | None:
    """Lab of a grid that lies along the eye: of these columns of it (89, n, 3), and of the skin under the eye (m, 3).
    None when the whole grid leaves the picture."""

    def places(u: Floats, v: Floats) -> list[Floats]:
        return [middle[axis] + u * along[axis] + v * across[axis] for axis in (0, 1)]

    whole = _box(places(_CORNERS[0], _CORNERS[1]), 2)
    if whole[0] < 0 or whole[1] < 0 or whole[2] > rgb.shape[1] or whole[3] > rgb.shape[0]:
        return None
    u = np.concatenate((np.tile(columns, len(_DOWN_ALL)), _SKIN[0]))
    v = np.concatenate((np.repeat(_DOWN_ALL, len(columns)), _SKIN[1]))
    x, y = places(u, v)
    # Blurred as the whole grid would be: beyond what is looked at as far as the blur's own reach, and no farther than
    # the grid's own box, at whose edge it is mirrored.
    near = _box([x, y], 4 + math.ceil(2.4 * step))
    left, top = max(near[0], whole[0]), max(near[1], whole[1])
    right, bottom = min(near[2], whole[2]), min(near[3], whole[3])
    part = packed(rgb[top:bottom, left:right])
    if step > 0.8:  # fine detail between the samples would alias
        part = cv2.GaussianBlur(part, (0, 0), 0.6 * step)
    across_part, down_part = ((to - start).astype(np.float32)[None] for to, start in ((x, left), (y, top)))
    colours = cv2.remap(part, across_part, down_part, cv2.INTER_LINEAR).astype(np.float32) / 255
    lab = cv2.cvtColor(colours, cv2.COLOR_RGB2LAB)[0]
    eye = len(lab) - len(_SKIN[0])
    return lab[:eye].reshape(len(_DOWN_ALL), -1, 3), lab[eye:]


def _box(places: list[Floats], margin: int) -> tuple[int, int, int, int]:
    """Left, top, right and bottom of the pixels round such places (x, y) and so many more."""
    x, y = places
    low = math.floor(x.min()) - margin, math.floor(y.min()) - margin
    return *low, math.ceil(x.max()) + margin + 1, math.ceil(y.max()) + margin + 1


def _unlike_skin(eye: Floats, skin: Floats) -> Floats:
    """How far each row of the eye (h, w, 3) differs from the skin (n, 3), Lab both."""
    # Colour by colour: what is done to the three of a pixel takes as long as what is done to a row.
    middle = medians(skin.T)[:, None, None]
    apart = (np.ascontiguousarray(eye.transpose(2, 0, 1)) - middle) * _WEIGHTS
    return np.asarray(np.sqrt((apart**2).sum(axis=0)).mean(axis=1))
