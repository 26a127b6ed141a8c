"""What a close look at an eye tells: sharpness, catch lights, pupil. Patches come from the largest picture at hand.

Coordinates are pixels of the array given, (0, 0) the middle of its top left pixel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.face.faces import Point
from galleries.imaging.face.ranks import median, medians, percentile
from galleries.imaging.face.views import Lie, light_of, packed
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


def _patch(rgb: Pixels, centre: Point, reach: float) -> tuple[Floats, int, int] | None:
    """Luma of the square of ±reach round `centre` and its left, top; None when it leaves the frame."""
    left, top = math.floor(centre[0] - reach), math.floor(centre[1] - reach)
    right, bottom = math.ceil(centre[0] + reach) + 1, math.ceil(centre[1] + reach) + 1
    if left < 0 or top < 0 or right > rgb.shape[1] or bottom > rgb.shape[0]:
        return None
    light = light_of(rgb)
    if light is None:
        luma = cv2.cvtColor(packed(rgb[top:bottom, left:right]), cv2.COLOR_RGB2GRAY)
    else:
        luma = light[top:bottom, left:right]
    return np.ascontiguousarray(luma, np.float32), left, top


def edge_sharpness(luma: Floats) -> float | None:
    """Steepest rise per pixel as a share of the patch's range: 1 over the width of its sharpest edge in pixels.

    A hard step reads about 0.5, one blurred by a Gaussian of s pixels about 0.4 / s. None when the patch has too
    little contrast to tell.
    """
    values = _sharpness_of(luma[None])
    return float(values[0]) if len(values) else None


def _sharpness_of(patches: NDArray[Any]) -> Floats:
    """`edge_sharpness` of those of (n, h, w), uint8 or float32, that have the contrast."""
    few = patches[:, ::2, ::2] if patches[0].size > 1000 else patches
    low, high = _quantiles(few, 0.01, 0.99)
    enough = high - low >= _LEAST_RANGE
    reach = (high - low)[enough]
    if not len(reach):
        return reach
    patches = np.asarray(patches if enough.all() else patches[enough], np.float32)
    steep = np.square(patches[:, 1:-1, 2:] - patches[:, 1:-1, :-2])
    steep += np.square(patches[:, 2:, 1:-1] - patches[:, :-2, 1:-1])
    steepest = _high_quantile(steep, 0.995)  # of twice the slope, squared
    return np.minimum(1.0, np.sqrt(steepest / 4) / reach)


def _quantiles(patches: NDArray[Any], *shares: float) -> list[NDArray[Any]]:
    """Of each patch the value at `share` of the order, without interpolation."""
    flat = np.ascontiguousarray(patches).reshape(len(patches), -1)
    places = [min(flat.shape[1] - 1, int(share * flat.shape[1])) for share in shares]
    if flat.dtype == np.uint8:  # counted, which takes a quarter of the time of putting them in order
        codes = flat + np.arange(0, 256 * len(flat), 256)[:, None]
        upto = np.bincount(codes.ravel(), minlength=256 * len(flat)).reshape(-1, 256).cumsum(axis=1)
        return [np.asarray((upto <= place).sum(axis=1), np.float32) for place in places]
    # One by one: two places at once take thrice as long.
    return [np.partition(flat, place, axis=1)[:, place] for place in places]


def _high_quantile(patches: Floats, share: float) -> Floats:
    """As `_quantiles`, for a share near 1: of each of (n, h, w) only the values are put in order that may be it."""
    count, size = len(patches), patches[0].size
    above = size - min(size - 1, int(share * size))  # as many are as high as it, itself among them
    if above > patches.shape[2]:
        return _quantiles(patches, share)[0]
    # Where that many columns reach up to, that many values do.
    reached = np.sort(patches.max(axis=1), axis=1)[:, -above]
    at = np.flatnonzero(patches >= reached[:, None, None])
    ends = np.searchsorted(at, np.arange(1, count) * size)
    parts = np.split(patches.ravel()[at], ends)
    return np.array([np.partition(part, len(part) - above)[len(part) - above] for part in parts])


def eye_sharpness(rgb: Pixels, eye: Eye) -> float | None:
    """`edge_sharpness` of iris, lids and lashes round one eye."""
    patch = _patch(rgb, eye.centre, max(8.0, 2.2 * eye.radius))
    return None if patch is None else edge_sharpness(patch[0])


def tiles_of(rgb: Pixels) -> Pixels:
    """Luma of an even grid of 7 × 7 places, (49, h, w) uint8; a picture smaller than a tile gives what it has."""
    height, width = rgb.shape[:2]
    high, wide = min(_TILE, height), min(_TILE, width)
    light = light_of(rgb)
    picture = rgb if light is None else light
    lie = Lie.of(picture)
    tops, lefts = (np.linspace(0, last, 7).astype(int).tolist() for last in (height - high, width - wide))
    places = [lie.as_stored(picture[top : top + high, left : left + wide]) for top in tops for left in lefts]
    tiles = np.stack(places)
    if light is None:
        tiles = cv2.cvtColor(tiles.reshape(-1, *tiles.shape[2:]), cv2.COLOR_RGB2GRAY).reshape(tiles.shape[:3])
    return lie.upright(tiles)


def frame_detail(rgb: Pixels, tiles: Pixels | None = None) -> float | None:
    """The sharpness of the sharpest places of a frame: 95th percentile over an even grid of tiles (`tiles_of`)."""
    if min(rgb.shape[:2]) <= 4:
        return None
    values = _sharpness_of(tiles_of(rgb) if tiles is None else tiles)
    return percentile(values, 95) if len(values) else None


_ALONG, _DOWN = np.arange(20), np.arange(-19, 20)  # waves over a tile, of all that the bands reach
_CYCLES = np.hypot(_DOWN[:, None], _ALONG[None, :]) / _TILE  # cycles per pixel


def _waves(cycles: NDArray[np.intp]) -> NDArray[np.complex64]:
    """What a row of a tile, faded towards its ends, is multiplied by for its part of so many waves, (64, n)."""
    waves = np.exp(-2j * np.pi / _TILE * np.outer(np.arange(_TILE), cycles))
    return np.asarray(np.hanning(_TILE)[:, None] * waves, np.complex64)


_OVER_ROWS, _OVER_COLUMNS = _waves(_ALONG), _waves(_DOWN).T.copy()


class _Band(NamedTuple):
    """The waves of some band of `_CYCLES`: which of those along, the waves down, and what each counts for."""

    along: slice
    over_columns: NDArray[np.complex64]
    weights: NDArray[np.float32]

    @classmethod
    def round(cls, cycles: float) -> _Band:
        inside = np.abs(_CYCLES - cycles) <= 0.025
        places = (np.flatnonzero(inside.any(axis=axis)).tolist() for axis in (1, 0))
        down, along = (slice(those[0], those[-1] + 1) for those in places)
        weights = (inside[down, along] / inside.sum()).ravel().astype(np.float32)
        return cls(along, _OVER_COLUMNS[down], weights)


_MIDDLING, _FINE = _Band.round(0.125), _Band.round(0.275)
_LEAST_MID = 5000.0  # mean power of the middle band under which a tile tells nothing (noise of 2 codes: 2,300)


def fine_detail(rgb: Pixels, tiles: Pixels | None = None) -> float | None:
    """How far fine detail (0.25 to 0.30 cycles a pixel) lies under middling (0.10 to 0.15), in dB, where the frame has
    most of it; None where it has too little.

    A picture that was enlarged, or is out of focus all over, has hardly any. Portraits of ../shared as they are: -8 to
    -10; enlarged 1.5 times -14 to -17, twice -18 to -21; blurred by 1 px (Gaussian) -17 to -18.
    """
    if min(rgb.shape[:2]) < _TILE:
        return None
    even = np.asarray(tiles_of(rgb) if tiles is None else tiles, np.float32)
    even = even - even.mean(axis=(1, 2), keepdims=True)
    # The two bands are a tenth of all waves: by products of matrices they take a third of a whole transform's time.
    rows = (even @ _OVER_ROWS.view(np.float32)).view(np.complex64)
    middling = _power(rows, _MIDDLING)
    richest = np.argsort(middling)[-16:]
    richest = richest[middling[richest] >= _LEAST_MID]
    if len(richest) < 4:
        return None
    return 10 * math.log10(max(1e-9, median(_power(rows[richest], _FINE) / middling[richest])))


def _power(rows: NDArray[np.complex64], band: _Band) -> Floats:
    """Mean power of a band's waves in each of (n, 64, 20), of whose rows the waves along are known."""
    waves = band.over_columns @ np.ascontiguousarray(rows[:, :, band.along])
    power = waves.real**2 + waves.imag**2
    return np.asarray(power.reshape(len(rows), -1) @ band.weights)


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
    dx = np.arange(left, left + luma.shape[1])[None, :] - eye.centre[0]
    dy = np.arange(top, top + luma.shape[0])[:, None] - eye.centre[1]
    iris = (np.hypot(dx, dy) / eye.radius <= 1.0) & _inside_lid(luma.shape, eye, left, top)
    if iris.sum() < 20:
        return told(Code.UNKNOWN_NEARLY_CLOSED)
    bright = (luma >= median(luma[iris]) + _RISE) & iris
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


_SECTORS = np.radians([*range(-40, 41, 8), *range(140, 221, 8)]).astype(np.float32)
_RADII = np.linspace(0.12, 0.9, 40, dtype=np.float32)  # shares of the iris' own
_INNER = (_RADII[:-4] >= 0.16) & (_RADII[4:] <= 0.80)


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
    radii = _RADII
    x = eye.centre[0] - left + eye.radius * radii[:, None] * np.cos(_SECTORS)[None]
    y = eye.centre[1] - top + eye.radius * radii[:, None] * np.sin(_SECTORS)[None]
    ring = cv2.remap(luma, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR)
    profile = medians(ring)
    rise = np.where(_INNER, profile[4:] - profile[:-4], -np.inf)
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
