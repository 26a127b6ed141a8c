"""Colours and light of a frame in numbers: face, skin, backdrop, wardrobe. Reads a small sRGB copy (about 256 px).

Lab is CIE L*a*b* under D65, as sRGB means it; coordinates are pixels of the small copy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.face.faces import Face
from galleries.imaging.face.ranks import is_under, median, medians, percentile, percentiles

Mask = NDArray[np.bool_]
Lab = tuple[float, float, float]

_LEAST_PIXELS = 40
_MONO_CHROMA = 4.0
_MONO_SPREAD = 1.8


def to_lab(rgb: Pixels) -> Floats:
    """sRGB uint8 (h, w, 3) to float Lab."""
    return np.asarray(cv2.cvtColor(rgb.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2LAB), np.float32)


def _polygon(shape: tuple[int, ...], points: NDArray[np.float64]) -> Mask:
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.rint(points).astype(np.int32)], 1)
    return mask.astype(bool)


def face_mask(shape: tuple[int, ...], face: Face) -> Mask:
    """The face's skin: inside the oval, shrunk by a tenth, without eyes and mouth."""
    oval = np.array(face.oval)
    mask = _polygon(shape, oval.mean(axis=0) + (oval - oval.mean(axis=0)) * 0.9)
    left_out = np.zeros(shape[:2], np.uint8)
    for (x, y), radius in ((face.right_eye, 0.3), (face.left_eye, 0.3), (face.mouth, 0.35)):
        cv2.circle(left_out, (round(x), round(y)), round(radius * face.eye_distance), 1, -1)
    return mask & (left_out == 0)


def _of(pixels: Pixels, mask: Mask) -> Pixels:
    """Those of (..., n) that the mask takes, (m, n): by their places, which is five times as fast as by the mask."""
    return pixels.reshape(-1, pixels.shape[-1]).take(np.flatnonzero(mask), axis=0)


def _between(values: Floats, low: float, high: float) -> Floats:
    """Those of Lab (n, 3) whose lightness lies between two percentiles of it."""
    lightness = np.ascontiguousarray(values[:, 0])
    least, most = percentiles(lightness, low, high)
    return _of(values, (lightness >= least) & (lightness <= most))


def middle_lab(lab: Floats, mask: Mask) -> Lab | None:
    """Mean Lab of the mask without its darkest and lightest tenth; None when there are too few pixels."""
    values = _of(lab, mask)
    if len(values) < _LEAST_PIXELS:
        return None
    lightness, a, b, _ = cv2.mean(_between(values, 10, 90)[:, None])
    return round(lightness, 2), round(a, 2), round(b, 2)


@dataclass(frozen=True)
class FaceTones:
    """Median L*, shares of clipped pixels (0..1), skin a* and b*, and the light on the face in stops.

    light_x: how much brighter the picture-right half is than the left; light_y: the upper than the lower half.
    """

    median_l: float
    clipped_high: float
    clipped_low: float
    skin_ab: tuple[float, float]
    light_x: float
    light_y: float


def face_tones(rgb: Pixels, lab: Floats, face: Face) -> FaceTones | None:
    """Tones of the face; None when less than 40 pixels of skin lie inside the frame."""
    mask = face_mask(rgb.shape, face)
    places = np.flatnonzero(mask)
    if len(places) < _LEAST_PIXELS:
        return None
    pixels, skin = (picture.reshape(-1, 3).take(places, axis=0) for picture in (rgb, lab))
    kept = _between(skin, 20, 90)
    lightness, most = np.ascontiguousarray(skin[:, 0]), np.maximum(np.maximum(pixels[:, 0], pixels[:, 1]), pixels[:, 2])
    light_x, light_y = _light(lightness, mask, face)
    return FaceTones(
        median_l=round(median(lightness), 2),
        clipped_high=round(float((most >= 254).mean()), 4),
        clipped_low=round(float((most <= 2).mean()), 4),
        skin_ab=(round(median(kept[:, 1]), 2), round(median(kept[:, 2]), 2)),
        light_x=light_x,
        light_y=light_y,
    )


def _light(lightness: Floats, mask: Mask, face: Face) -> tuple[float, float]:
    """Stops between the halves of the face, along and across the eye line."""
    luminance = np.maximum(((lightness + 16) / 116) ** 3, 1e-3)
    y, x = np.divmod(np.flatnonzero(mask), mask.shape[1])  # a quarter of the time of `np.nonzero`
    roll = math.radians(face.roll_deg)
    ex, ey = face.eye_middle
    cx, cy = (ex + face.mouth[0]) / 2, (ey + face.mouth[1]) / 2
    along = math.cos(roll) * (x - cx) + math.sin(roll) * (y - cy)
    across = -math.sin(roll) * (x - cx) + math.cos(roll) * (y - cy)
    margin = 0.15 * face.eye_distance

    def stops(one: Mask, other: Mask) -> float:
        if min(one.sum(), other.sum()) < 10:
            return 0.0
        return round(math.log2(median(luminance[one]) / median(luminance[other])), 3)

    return stops(along > margin, along < -margin), stops(across < -margin, across > margin)


def backdrop_mask(shape: tuple[int, ...], face: Face | None) -> Mask:
    """Where the backdrop should be: beside and above the head, or the upper border when there is no face."""
    height, width = shape[:2]
    mask = np.zeros((height, width), bool)
    if face is None:
        mask[: max(1, height // 10)] = True
        edge = max(1, width // 12)
        mask[: height // 2, :edge] = True
        mask[: height // 2, -edge:] = True
        return mask
    d = face.eye_distance
    x = face.eye_middle[0]
    bottom = max(1, min(height, int(face.eye_middle[1] + 0.5 * d)))
    mask[:bottom, : max(0, int(x - 2.1 * d))] = True
    mask[:bottom, min(width, int(x + 2.1 * d) + 1) :] = True
    above = int(face.crown_y - max(face.crown_uncertainty, 0.1 * d))
    if above > 0:
        mask[:above] = True
    return mask


def wardrobe_lab(lab: Floats, face: Face, skin: Lab | None, backdrop: Lab | None) -> Lab | None:
    """Mean Lab of the chest under the chin without what looks like this skin or this backdrop.

    None when the frame ends too soon or too little is left over.
    """
    below = face.chin[1] - face.eye_middle[1]
    d = face.eye_distance
    top, bottom = int(face.chin[1] + 0.6 * below), int(face.chin[1] + 1.9 * below)
    left, right = int(face.chin[0] - 2.2 * d), int(face.chin[0] + 2.2 * d) + 1
    area = _colours(lab[max(0, top) : max(0, bottom), max(0, left) : max(0, right)])
    if area.shape[1] < _LEAST_PIXELS:
        return None
    keep = np.ones(area.shape[1], bool)
    if skin is not None:
        lightness, a, b = np.abs(area - np.array(skin)[:, None])
        keep &= (np.hypot(a, b) > 7) | (lightness > 35)
    if backdrop is not None:
        keep &= _apart(area, np.array(backdrop)) > 5
    if keep.mean() < 0.2:
        keep[:] = True  # clothes the colour of skin or backdrop: take all rather than a rest
    values = area.take(np.flatnonzero(keep), axis=1)
    away = _apart(values, medians(values))
    mean = values.take(np.flatnonzero(away <= percentile(away, 70)), axis=1).mean(axis=1, dtype=np.float64).tolist()
    return round(mean[0], 2), round(mean[1], 2), round(mean[2], 2)


def _colours(lab: Floats) -> Floats:
    """(h, w, 3) colour by colour, (3, h * w): what is done to the three of a pixel takes as long as what is done to a
    row of them."""
    return np.ascontiguousarray(lab.transpose(2, 0, 1)).reshape(3, -1)


def _apart(colours: Floats, one: Floats) -> Floats:
    """The distance of each of (3, n) from one (3,)."""
    return np.asarray(np.sqrt(np.square(colours - one[:, None]).sum(axis=0)))


def is_monochrome(lab: Floats) -> bool:
    """Black and white, also toned: chroma is nothing, or follows lightness alone."""
    flat = _colours(lab[::2, ::2])
    if is_under(np.hypot(flat[1], flat[2]), 99, _MONO_CHROMA):
        return True
    usable = flat.take(np.flatnonzero((flat[0] > 3) & (flat[0] < 97)), axis=1).astype(np.float64)
    if usable.shape[1] < _LEAST_PIXELS:
        return False
    level, colours = usable[0] / 100, usable[1:]
    base = np.empty((4, len(level)))
    base[0], base[1] = 1, level
    np.multiply(level, level, out=base[2])
    np.multiply(base[2], level, out=base[3])
    # By its normal equations: four unknowns of thousands of pixels, in a tenth of the time.
    fit, *_ = np.linalg.lstsq(base @ base.T, base @ colours.T, rcond=None)
    return is_under(np.abs(colours - fit.T @ base), 97, _MONO_SPREAD)


def dark_glasses(lab: Floats, face: Face) -> bool:
    """Whether both eyes and the skin round them are far darker than the cheeks below: eyes cannot be read."""
    d = face.eye_distance
    roll = math.radians(face.roll_deg)
    down = np.array([-math.sin(roll), math.cos(roll)])

    def luminance(point: NDArray[np.float64]) -> float | None:
        reach = max(1, round(0.06 * d))
        x, y = round(float(point[0])), round(float(point[1]))
        if not (reach <= x < lab.shape[1] - reach and reach <= y < lab.shape[0] - reach):
            return None
        value = median(lab[y - reach : y + reach + 1, x - reach : x + reach + 1, 0])
        return max(((value + 16) / 116) ** 3, 1e-4)

    dark = []
    for eye in (face.right_eye, face.left_eye):
        under = luminance(np.array(eye) + down * 0.22 * d)
        cheek = luminance(np.array(eye) + down * 0.62 * d)
        dark.append(under is not None and cheek is not None and under < 0.28 * cheek)
    return all(dark)
