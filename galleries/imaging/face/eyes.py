"""What a close look at an eye tells: sharpness, catch lights, pupil. Patches come from the largest picture at hand.

Coordinates are pixels of the array given, (0, 0) the middle of its top left pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.face.faces import Point
from galleries.imaging.face.ranks import median, medians, percentile
from galleries.imaging.face.views import packed
from galleries.told import Told, told

LEAST_IRIS = 10.0  # pixels of radius under which catch lights are unknown
LEAST_IRIS_FOR_PUPIL = 14.0
_RISE = 60  # code values over the iris' median that make a catch light
_WITHIN = 0.7  # of the iris' radius
_AREA = (0.003, 0.20)  # of the iris' area
_LEAST_OPEN = 0.18
_TILE = 64
_LEAST_RANGE = 40.0
_SAME_PUPILS = 0.12


@dataclass(frozen=True)
class CatchLight:
    """A light reflected in an eye: hour on the clock face (12 up, 3 picture right), shares of radius and area."""

    clock: int
    distance: float
    area: float


@dataclass(frozen=True)
class Eye:
    """One eye as far as this module needs it."""

    centre: Point
    radius: float
    lid: tuple[Point, ...]
    openness: float | None


def _luma(patch: Pixels) -> Floats:
    return np.asarray(cv2.cvtColor(patch, cv2.COLOR_RGB2GRAY), dtype=np.float32)


def _patch(rgb: Pixels, centre: Point, reach: float) -> tuple[Floats, int, int] | None:
    """Luma of the square of ±reach round `centre` and its left, top; None when it leaves the frame."""
    left, top = math.floor(centre[0] - reach), math.floor(centre[1] - reach)
    right, bottom = math.ceil(centre[0] + reach) + 1, math.ceil(centre[1] + reach) + 1
    if left < 0 or top < 0 or right > rgb.shape[1] or bottom > rgb.shape[0]:
        return None
    return _luma(packed(rgb[top:bottom, left:right])), left, top


def edge_sharpness(luma: Floats) -> float | None:
    """Steepest rise per pixel as a share of the patch's range: 1 over the width of its sharpest edge in pixels.

    A hard step reads about 0.5, one blurred by a Gaussian of s pixels about 0.4 / s. None when the patch has too
    little contrast to tell.
    """
    values = _sharpness_of(luma[None])
    return float(values[0]) if len(values) else None


def _sharpness_of(patches: Floats) -> Floats:
    """`edge_sharpness` of those of (n, h, w) that have the contrast."""
    few = patches[:, ::2, ::2] if patches[0].size > 1000 else patches
    low, high = _quantiles(few, 0.01, 0.99)
    enough = high - low >= _LEAST_RANGE
    patches, reach = patches[enough], (high - low)[enough]
    if not len(patches):
        return reach
    gx = (patches[:, 1:-1, 2:] - patches[:, 1:-1, :-2]) / 2
    gy = (patches[:, 2:, 1:-1] - patches[:, :-2, 1:-1]) / 2
    (steep,) = _quantiles(gx * gx + gy * gy, 0.995)
    return np.minimum(1.0, np.sqrt(steep) / reach)


def _quantiles(patches: NDArray[Any], *shares: float) -> list[NDArray[Any]]:
    """Of each patch the value at `share` of the order, without interpolation."""
    flat = np.ascontiguousarray(patches).reshape(len(patches), -1)
    places = [min(flat.shape[1] - 1, int(share * flat.shape[1])) for share in shares]
    # One by one: two places at once take thrice as long.
    return [np.partition(flat, place, axis=1)[:, place] for place in places]


def eye_sharpness(rgb: Pixels, eye: Eye) -> float | None:
    """`edge_sharpness` of iris, lids and lashes round one eye."""
    patch = _patch(rgb, eye.centre, max(8.0, 2.2 * eye.radius))
    return None if patch is None else edge_sharpness(patch[0])


def tiles_of(rgb: Pixels) -> Floats:
    """Luma of an even grid of 7 × 7 places, (49, h, w); a picture smaller than a tile gives what it has."""
    height, width = rgb.shape[:2]
    return np.stack(
        [
            _luma(packed(rgb[top : top + _TILE, left : left + _TILE]))
            for top in np.linspace(0, max(0, height - _TILE), 7).astype(int)
            for left in np.linspace(0, max(0, width - _TILE), 7).astype(int)
        ]
    )


def frame_detail(rgb: Pixels, tiles: Floats | None = None) -> float | None:
    """The sharpness of the sharpest places of a frame: 95th percentile over an even grid of tiles (`tiles_of`)."""
    if min(rgb.shape[:2]) <= 4:
        return None
    values = _sharpness_of(tiles_of(rgb) if tiles is None else tiles)
    return percentile(values, 95) if len(values) else None


_CYCLES = np.hypot(np.fft.fftfreq(_TILE)[:, None], np.fft.rfftfreq(_TILE)[None, :])  # cycles per pixel
_WITHIN_BANDS = [np.abs(_CYCLES - middle) <= 0.025 for middle in (0.125, 0.275)]
_BANDS = np.stack([band.ravel() / band.sum() for band in _WITHIN_BANDS], axis=1)
_WINDOW = (np.hanning(_TILE)[:, None] * np.hanning(_TILE)[None, :]).astype(np.float32)
_LEAST_MID = 5000.0  # mean power of the middle band under which a tile tells nothing (noise of 2 codes: 2,300)


def fine_detail(rgb: Pixels, tiles: Floats | None = None) -> float | None:
    """How far fine detail (0.25 to 0.30 cycles a pixel) lies under middling (0.10 to 0.15), in dB, where the frame has
    most of it; None where it has too little.

    A picture that was enlarged, or is out of focus all over, has hardly any. Portraits of ../shared as they are: -8 to
    -10; enlarged 1.5 times -14 to -17, twice -18 to -21; blurred by 1 px (Gaussian) -17 to -18.
    """
    if min(rgb.shape[:2]) < _TILE:
        return None
    tiles = tiles_of(rgb) if tiles is None else tiles
    even = (tiles - tiles.mean(axis=(1, 2), keepdims=True)) * _WINDOW
    waves = np.stack([cv2.dft(tile, flags=cv2.DFT_COMPLEX_OUTPUT)[:, : _TILE // 2 + 1].ravel() for tile in even])
    bands = (waves[:, ::2] ** 2 + waves[:, 1::2] ** 2) @ _BANDS
    richest = bands[np.argsort(bands[:, 0])[-16:]]
    richest = richest[richest[:, 0] >= _LEAST_MID]
    if len(richest) < 4:
        return None
    return 10 * math.log10(max(1e-9, median(richest[:, 1] / richest[:, 0])))


def catch_lights(rgb: Pixels, eye: Eye) -> tuple[CatchLight, ...] | Told:
    """The catch lights of one eye, largest first, or the reason why they are unknown."""
    if eye.radius < LEAST_IRIS:
        return told(Code.UNKNOWN_IRIS, radius_px=round(eye.radius), least_px=round(LEAST_IRIS))
    if eye.openness is not None and eye.openness < _LEAST_OPEN:
        return told(Code.UNKNOWN_CLOSED)
    patch = _patch(rgb, eye.centre, 1.2 * eye.radius)
    if patch is None:
        return told(Code.UNKNOWN_EDGE)
    luma, left, top = patch
    y, x = np.mgrid[0 : luma.shape[0], 0 : luma.shape[1]]
    dx, dy = x + left - eye.centre[0], y + top - eye.centre[1]
    away = np.hypot(dx, dy) / eye.radius
    inside = _inside_lid(luma.shape, eye, left, top)
    iris = (away <= 1.0) & inside
    if iris.sum() < 20:
        return told(Code.UNKNOWN_NEARLY_CLOSED)
    bright = (luma >= median(luma[iris]) + _RISE) & inside & (away <= 1.0)
    count, _labels, stats, middles = cv2.connectedComponentsWithStats(bright.astype(np.uint8), connectivity=8)
    whole = math.pi * eye.radius**2
    lights = []
    for i in range(1, count):
        share = float(stats[i, cv2.CC_STAT_AREA]) / whole
        cx, cy = middles[i][0] + left - eye.centre[0], middles[i][1] + top - eye.centre[1]
        reach = math.hypot(cx, cy) / eye.radius
        if _AREA[0] <= share <= _AREA[1] and reach <= _WITHIN:
            lights.append(CatchLight(clock_hour(cx, -cy), round(reach, 2), round(share, 4)))
    return tuple(sorted(lights, key=lambda light: -light.area))


def _inside_lid(shape: tuple[int, ...], eye: Eye, left: int, top: int) -> NDArray[np.bool_]:
    if len(eye.lid) < 3:
        return np.ones(shape, dtype=bool)
    mask = np.zeros(shape, np.uint8)
    points = np.rint(np.array(eye.lid) - (left, top)).astype(np.int32)
    cv2.fillPoly(mask, [points], 1)
    return mask.astype(bool)


def clock_hour(right: float, up: float) -> int:
    """1..12 of a direction on a clock face seen from the front."""
    hour = round(math.degrees(math.atan2(right, up)) / 30) % 12
    return hour or 12


def pupil_ratio(rgb: Pixels, eye: Eye) -> float | Told:
    """Radius of the pupil over the radius of the iris, or the reason why it is unknown.

    The steepest rise of luma on the way out, over the sectors left and right that the lids leave free. A dark
    iris shows no edge to its pupil and is said to be unknown.
    """
    if eye.radius < LEAST_IRIS_FOR_PUPIL:
        return told(Code.UNKNOWN_IRIS, radius_px=round(eye.radius), least_px=round(LEAST_IRIS_FOR_PUPIL))
    if eye.openness is not None and eye.openness < _LEAST_OPEN:
        return told(Code.UNKNOWN_CLOSED)
    patch = _patch(rgb, eye.centre, 1.1 * eye.radius)
    if patch is None:
        return told(Code.UNKNOWN_EDGE)
    luma, left, top = patch
    angles = np.radians([*range(-40, 41, 8), *range(140, 221, 8)]).astype(np.float32)
    radii = np.linspace(0.12, 0.9, 40, dtype=np.float32)
    x = eye.centre[0] - left + eye.radius * radii[:, None] * np.cos(angles)[None]
    y = eye.centre[1] - top + eye.radius * radii[:, None] * np.sin(angles)[None]
    ring = cv2.remap(luma, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    profile = medians(ring)
    inner = (radii[:-4] >= 0.16) & (radii[4:] <= 0.80)
    rise = np.where(inner, profile[4:] - profile[:-4], -np.inf)
    best = int(np.argmax(rise))
    within, beyond = profile[: best + 2].mean(), profile[best + 3 : -2].mean()
    if rise[best] < 10 or beyond - within < 12:
        return told(Code.UNKNOWN_DARK_PUPIL)
    return round(float((radii[best] + radii[best + 4]) / 2), 3)


def agreed_pupils(right: float | Told, left: float | Told) -> tuple[float | Told, float | Told]:
    """Both pupils of one person are equally wide: where two visible eyes do not say so, neither is believed."""
    if isinstance(right, float) and isinstance(left, float):
        if abs(right - left) <= _SAME_PUPILS:
            return right, left
        return told(Code.UNKNOWN_PUPILS_DIFFER), told(Code.UNKNOWN_PUPILS_DIFFER)
    dark = told(Code.UNKNOWN_DARK_PUPIL)
    return (right if left != dark else dark), (left if right != dark else dark)
