"""What the whole picture's colours did, read outside the face: so that a grade is told from a face made lighter.

Each channel's values of the version are fitted to those of the frame by a smooth curve, over backdrop, clothes and
hair, every tone weighing the same; what looks like this skin is left out, wherever it is. The curve is
v + a + b·v + c·v(1 - v) + d·v(1 - v)(1 - 2v), which holds exposure, white balance, gamma and contrast nearly exactly;
three terms v·x, v·y, v·(x² + y²) hold a vignette or a gradient over the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.comparing.patches import Patches
from galleries.imaging.face import tones

_TONES = 12
_RIDGE = 0.02  # how strongly no change at all is believed where no tone says otherwise
_ROUNDS = 8
_LEAST = 400  # pixels
_MOST_REST = 0.05  # of the scale, beyond which no one curve did this: another backdrop, say
_TONES_JUDGED = (0.1, 0.9)
_LEAST_RISE = 0.15
_MOST_TINT = 0.1  # by which a gradient may differ between the channels


@dataclass(frozen=True)
class Grade:
    """Curves (7, 3) over values 0..1 and places; `rest`: what they leave outside the face, the middling one."""

    curves: Floats
    rest: float

    @property
    def holds(self) -> bool:
        """Whether a grade may have done this: close enough, rising, and no colour that changes over the picture."""
        values = np.linspace(*_TONES_JUDGED, 33)
        middle = np.zeros((len(values), 2))
        rise = np.diff(values[:, None] + _base(values, middle) @ self.curves, axis=0) / np.diff(values)[:, None]
        over = self.curves[4:]
        even = float(np.ptp(over, axis=1).max()) <= _MOST_TINT
        return self.rest <= _MOST_REST and float(rise.min()) >= _LEAST_RISE and even

    def applied(self, rgb: Pixels, spots: Floats) -> Floats:
        """Pixels (n, 3) uint8 at `spots` (see `spots_of`) as the grade alone would have left them: Lab (n, 3)."""
        values = np.asarray(rgb, np.float32) / np.float32(255)
        graded = values + np.stack([_base(values[:, i], spots) @ self.curves[:, i] for i in range(3)], axis=-1)
        return as_lab(np.clip(graded, 0, 1))


def as_lab(values: Floats) -> Floats:
    """sRGB of 0..1 (..., 3) to L*a*b*."""
    flat = np.ascontiguousarray(values, np.float32).reshape(1, -1, 3)
    return np.asarray(cv2.cvtColor(flat, cv2.COLOR_RGB2LAB), np.float64).reshape(values.shape)


def _base(values: Floats, spots: Floats) -> Floats:
    bow, (x, y) = values * (1 - values), spots.T
    tone = [np.ones_like(values), values, bow, bow * (1 - 2 * values)]
    return np.stack([*tone, values * x, values * y, values * (x * x + y * y)], axis=-1)


def spots_of(patches: Patches, mask: NDArray[np.bool_]) -> Floats:
    """Where the pixels of a mask of the patch lie on the frame: (n, 2), its middle (0, 0), its sides 1 away."""
    ys, xs = np.nonzero(mask)
    scale, shift = float(patches.to_patch[0, 0]), patches.to_patch[:2, 2]
    return (np.stack([xs, ys], axis=1) - shift) / scale / patches.frame_size * 2 - 1


def read(patches: Patches) -> Grade | None:
    """None where too little of the picture lies outside the face."""
    outside = patches.wide_inside & ~_skinlike(patches)
    steady = cv2.erode(outside.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    if int(steady.sum()) < _LEAST:
        return None
    here, there = (
        cv2.GaussianBlur(rgb, (0, 0), 1.0)[steady] / np.float32(255) for rgb in (patches.wide_here, patches.wide_there)
    )
    weight = _even_tones(here.mean(axis=1))
    ys, xs = np.nonzero(steady)
    spots = np.stack([xs / steady.shape[1], ys / steady.shape[0]], axis=1) * 2 - 1
    curves, rests = zip(*(_curve(here[:, i], there[:, i], weight, spots) for i in range(3)), strict=True)
    return Grade(np.stack(curves, axis=1), float(max(rests)))


def _skinlike(patches: Patches) -> NDArray[np.bool_]:
    """The face, and whatever has the colour of its skin in the frame: neck, ears, hands."""
    rgb, face = patches.wide_here, patches.wide_face
    lab = tones.to_lab(rgb)
    outline = np.array(face.oval, np.float64)
    mask = np.zeros(rgb.shape[:2], np.uint8)
    wide = outline.mean(axis=0) + 1.05 * (outline - outline.mean(axis=0))
    cv2.fillPoly(mask, [np.rint(wide).astype(np.int32)], 1)
    skin = lab[tones.face_mask(rgb.shape, face)]
    if len(skin):
        middle = np.median(skin, axis=0)
        near = np.hypot(*(lab - middle)[..., 1:].transpose(2, 0, 1)) < 9
        low, high = np.percentile(skin[:, 0], (2, 98))
        coloured = np.hypot(*middle[1:]) > 9  # skin as good as grey is told from nothing by its colour
        if coloured:
            mask |= (near & (lab[..., 0] > low - 12) & (lab[..., 0] < high + 8)).astype(np.uint8)
    return np.asarray(mask > 0, np.bool_)


def _even_tones(tone: Floats) -> Floats:
    """Weights by which each of the tones counts the same, where there are some pixels of it."""
    step = np.minimum((tone * _TONES).astype(int), _TONES - 1)
    count = np.bincount(step, minlength=_TONES).astype(np.float64)
    return np.asarray(1 / np.maximum(count, 40.0)[step], np.float64)


def _curve(here: Floats, there: Floats, weight: Floats, spots: Floats) -> tuple[Floats, float]:
    """Robust least squares (Huber's weights); the curve's seven numbers and the middling rest."""
    base, change = _base(here.astype(np.float64), spots), (there - here).astype(np.float64)
    kept = (there > 0.004) & (there < 0.996) | (np.abs(change) < 0.004)  # what was cut off says little
    base, change, weight = base[kept], change[kept], weight[kept]
    if len(change) < 100:
        return np.zeros(7), 1.0
    ridge = np.diag([1.0, 1.0, 0.1, 0.1, 0.3, 0.3, 0.3]) * _RIDGE
    robust = np.ones_like(change)
    for _ in range(_ROUNDS):
        scaled = base * (weight * robust)[:, None]
        numbers = np.linalg.solve(base.T @ scaled + ridge, scaled.T @ change)
        off = np.abs(change - base @ numbers)
        robust = np.minimum(1.0, 0.02 / np.maximum(off, 1e-6))
    order = np.argsort(off)
    share = np.cumsum(weight[order]) / weight.sum()
    return numbers, float(off[order][np.searchsorted(share, 0.5)])
