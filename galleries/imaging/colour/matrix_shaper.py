"""Matrix profiles (nearly every RGB profile) applied without a rounding table in between.

Why not LittleCMS here: reached through the bindings at hand, its 16-bit conversions between matrix profiles go
through a table of 33 steps a side and are off by up to 14 code values (of 255) in deep shades. The arithmetic is
ICC.1's own: curve, matrix to XYZ (D50), inverse matrix, inverse curve; a grey curve over Lab gives lightness and not
light. Relative colorimetric needs nothing more, and black point compensation changes nothing where black is zero.
Only profiles that this was proven for are taken (tests/imaging/colour/test_debian_profiles.py): those with tables, of
another class, or whose curves do not run from black to white stay with LittleCMS.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.colour import profiles

_STEPS = 65536
_ROWS = 256
_STRIP = 32768  # pixels at a time: what is in between stays in a core's own cache, which halves the time
_FINE_ENOUGH = 0.1  # code values that one step of 16-bit light may come to
_CLASSES = (b"scnr", b"mntr", b"prtr", b"spac")  # not links, abstract profiles or named colours


@dataclass(frozen=True, eq=False)
class Shaper:
    """`curves` (1 or 3, 65536): linear light of each code value; `matrix` takes linear RGB to XYZ D50; `luminance`
    (1 or 3, sum 1): what each band gives to CIE Y as seen under the profile's own white."""

    curves: Floats
    matrix: Floats
    luminance: Floats

    def inverse_curves(self) -> NDArray[np.float32]:
        """Code value 0..1 over the square root of linear light in 65536 steps: fine where the eye is."""
        light = np.linspace(0, 1, _STEPS) ** 2
        codes = np.linspace(0, 1, _STEPS)
        return np.stack([np.interp(light, curve, codes) for curve in self.curves]).astype(np.float32)


def _tags(icc: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", icc, 128)
    tags = {}
    for index in range(min(count, 100)):
        name, offset, size = struct.unpack_from(">4sII", icc, 132 + 12 * index)
        tags[name] = icc[offset : offset + size]
    return tags


def _curve(tag: bytes) -> Floats | None:
    x = np.linspace(0, 1, _STEPS)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return x
        points = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
        if count == 1:
            return np.asarray(x ** (points[0] / 256))
        return np.interp(x, np.linspace(0, 1, count), points / 65535)
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        if kind > 4:
            return None
        given = np.array(struct.unpack_from(f">{(1, 3, 4, 5, 7)[kind]}i", tag, 12)) / 65536
        return _parametric(kind, given, x)
    return None


def _parametric(kind: int, p: Floats, x: Floats) -> Floats:
    """ICC.1 parametricCurveType, functions 0 to 4."""
    if kind == 0:
        return np.asarray(x ** p[0])
    g, a, b = p[:3]
    c, d, e, f = {1: (0, -b / a, 0, 0), 2: (0, -b / a, p[-1], p[-1]), 3: (*p[3:5], 0, 0), 4: p[3:7]}[kind]
    return np.where(x >= d, np.maximum(a * x + b, 0) ** g + e, c * x + f).clip(0, 1)


def _light(lightness: Floats) -> Floats:
    """CIE L* as 0..1 to linear light 0..1 (CIE 15) [std, from memory]."""
    f = (lightness * 100 + 16) / 116
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)).clip(0, 1)


@lru_cache(maxsize=16)
def read(icc: bytes) -> Shaper | None:
    """The profile as curves and matrix (1×1 identity for grey); None when it has tables or is unusual."""
    try:
        tags = _tags(icc)
        if any(name in tags for name in (b"A2B0", b"A2B1", b"D2B0", b"D2B1")) or icc[12:16] not in _CLASSES:
            return None
        if icc[20:24] not in (b"XYZ ", b"Lab "):
            return None
        grey = icc[16:20] == b"GRAY"
        curves = [_curve(tags[name]) for name in ((b"kTRC",) if grey else (b"rTRC", b"gTRC", b"bTRC"))]
        matrix = np.eye(1)
        if not grey:
            columns = [struct.unpack_from(">3i", tags[name], 8) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
            matrix = np.array(columns).T / 65536
            if icc[20:24] != b"XYZ " or abs(np.linalg.det(matrix)) < 1e-6:
                return None
    except (struct.error, KeyError, ValueError, IndexError, ZeroDivisionError):
        return None
    if any(curve is None or np.any(np.diff(curve) < 0) or curve[0] > 0 or curve[-1] < 1 - 1e-4 for curve in curves):
        return None
    stacked = np.stack([curve for curve in curves if curve is not None])
    luminance = np.ones(1) if grey else _luminance(tags, matrix)
    return Shaper(_light(stacked) if icc[20:24] == b"Lab " else stacked, matrix, luminance)


def _luminance(tags: dict[bytes, bytes], matrix: Floats) -> Floats:
    """Y before the adaptation to D50: a version 4 profile states that (chad, ICC.1:2010 9.2.15), an older one its white
    (wtpt). Without either, or where it makes no sense, Y under D50."""
    try:
        if b"chad" in tags:
            adaptation = np.reshape(struct.unpack_from(">9i", tags[b"chad"], 8), (3, 3)) / 65536
        else:
            adaptation = profiles.to_d50(np.array(struct.unpack_from(">3i", tags[b"wtpt"], 8)) / 65536)
        own = (np.linalg.inv(adaptation) @ matrix)[1]
    except (KeyError, struct.error, np.linalg.LinAlgError):
        own = matrix[1]
    if not np.all(np.isfinite(own)) or own.min() < -0.01 or not 0.9 < own.sum() < 1.1:
        own = matrix[1]
    return np.asarray(own / own.sum())


def apply(pixels: NDArray[Any], source: Shaper, target: Shaper, bits: int) -> NDArray[Any]:
    """RGB (h, w, 3) uint8 or uint16 from `source` to `target`, rounded once, to `bits`."""
    step = 1 if pixels.dtype == np.uint16 else 257
    forward = source.curves[:, ::step].astype(np.float32)
    back = target.inverse_curves()
    matrix = (np.linalg.inv(target.matrix) @ source.matrix).astype(np.float32)
    top = np.float32(2**bits - 1)
    out = np.empty(pixels.shape, np.uint8 if bits == 8 else np.uint16)
    for row in range(0, pixels.shape[0], _ROWS):
        part = pixels[row : row + _ROWS]
        linear = np.stack([forward[band][part[:, :, band]] for band in range(3)], axis=-1) @ matrix.T
        index = (np.sqrt(linear.clip(0, 1)) * np.float32(_STEPS - 1) + np.float32(0.5)).astype(np.uint16)
        for band in range(3):
            out[row : row + _ROWS, :, band] = back[band][index[:, :, band]] * top + np.float32(0.5)
    return out


@lru_cache(maxsize=16)
def _tables_8(source: Shaper, target: Shaper) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.uint8]]:
    """For `_apply_8_by_root`: light of each code value (1, 256, 3), the matrix on the scale of the index squared, and
    of each index (the square root of light, cut off to 16 bits) the code value, one row a band."""
    light = np.ascontiguousarray(source.curves[:, ::257].T.reshape(1, 256, -1), np.float32)
    matrix = np.linalg.inv(target.matrix) @ source.matrix
    brightest = max(1.0, matrix.clip(0).sum(axis=1).max())  # beyond the target's white, which has a place all the same
    steps = int((_STEPS - 1) / math.sqrt(brightest))
    middles = np.minimum((np.arange(_STEPS) + 0.5) / steps, 1.0) ** 2
    codes = np.linspace(0, 255, _STEPS)
    back = np.stack([np.rint(np.interp(middles, curve, codes)) for curve in target.curves])
    return light, (matrix * float(steps) ** 2).astype(np.float32), back.astype(np.uint8)


@lru_cache(maxsize=16)
def _light_tables_8(source: Shaper, target: Shaper) -> tuple[NDArray[np.uint16], Floats, NDArray[np.uint8]] | None:
    """For `apply_8` in whole steps: light of each code value in 16 bits, the matrix, and of each light the code value,
    (1, 256, n) and (1, 65536, n) with n = 1 where all bands have one curve. None where the target's curve is so steep
    in the shades (a bare gamma) that 16 bits of light are too few to tell its code values apart."""
    codes = [np.interp(np.linspace(0, 1, _STEPS), curve, np.linspace(0, 255, _STEPS)) for curve in target.curves]
    if max(float(np.diff(band).max()) for band in codes) > _FINE_ENOUGH:
        return None
    light = np.rint(source.curves[:, ::257] * (_STEPS - 1)).astype(np.uint16)
    back = np.rint(np.stack(codes)).astype(np.uint8)
    return _as_table(light), np.linalg.inv(target.matrix) @ source.matrix, _as_table(back)


def _as_table(bands: NDArray[Any]) -> NDArray[Any]:
    """(n, values) as OpenCV looks values up: (1, values, n), of one band where all are alike."""
    alike = all(np.array_equal(band, bands[0]) for band in bands)
    return np.ascontiguousarray((bands[:1] if alike else bands).T[None])


def apply_8(pixels: NDArray[np.uint8], source: Shaper, target: Shaper) -> NDArray[np.uint8]:
    """RGB (h, w, 3) of 8 bits from `source` to `target`, rounded once."""
    tables = _light_tables_8(source, target)
    if tables is None:
        return _apply_8_by_root(pixels, source, target)
    light, matrix, back = tables
    out = np.empty(pixels.shape, np.uint8)
    rows = max(1, _STRIP // max(1, pixels.shape[1]))
    space = np.empty((rows, *pixels.shape[1:]), np.uint16)
    for row in range(0, pixels.shape[0], rows):
        part = np.ascontiguousarray(pixels[row : row + rows])
        linear = cv2.LUT(part, light, dst=space[: len(part)])
        linear = cv2.transform(linear, matrix, dst=linear)  # what lies beyond black or white stops there
        cv2.LUT(linear, back, dst=out[row : row + rows])
    return out


def _apply_8_by_root(pixels: NDArray[np.uint8], source: Shaper, target: Shaper) -> NDArray[np.uint8]:
    light, matrix, back = _tables_8(source, target)
    out = np.empty(pixels.shape, np.uint8)
    rows = max(1, _STRIP // max(1, pixels.shape[1]))
    one = back[0] if np.array_equal(back[0], back[1]) and np.array_equal(back[0], back[2]) else None
    for row in range(0, pixels.shape[0], rows):
        part = np.ascontiguousarray(pixels[row : row + rows])
        flat = cv2.transform(cv2.LUT(part, light), matrix).reshape(len(part), -1)
        cv2.sqrt(cv2.threshold(flat, 0, 0, cv2.THRESH_TOZERO, dst=flat)[1], dst=flat)
        index = flat.astype(np.uint16).reshape(part.shape)
        if one is not None:
            np.take(one, index, out=out[row : row + rows], mode="clip")
            continue
        for band in range(3):
            out[row : row + rows, :, band] = back[band][index[:, :, band]]
    return out


def monochrome(pixels: NDArray[Any], shaper: Shaper) -> NDArray[Any]:
    """RGB (h, w, 3) uint8 or uint16 to the neutral of the same luminance, same profile and bits, rounded once.

    Nothing is clipped on the way: a colour beyond every screen has a luminance like any other.
    """
    bits = 8 * pixels.dtype.itemsize
    forward = shaper.curves[:, :: 1 if bits == 16 else 257] * shaper.luminance[:, None]
    forward = forward.astype(np.float32)
    back, top = shaper.inverse_curves(), np.float32(2**bits - 1)
    out = np.empty_like(pixels)
    for row in range(0, pixels.shape[0], _ROWS):
        part = pixels[row : row + _ROWS]
        light = forward[0][part[:, :, 0]] + forward[1][part[:, :, 1]] + forward[2][part[:, :, 2]]
        index = (np.sqrt(light.clip(0, 1)) * np.float32(_STEPS - 1) + np.float32(0.5)).astype(np.uint16)
        for band in range(3):
            out[row : row + _ROWS, :, band] = back[band][index] * top + np.float32(0.5)
    return out


def grey_table(source: Shaper, target: Shaper) -> NDArray[np.uint16]:
    """16-bit grey code value to the target's neutral code value of the same lightness."""
    index = np.sqrt(source.curves[0].clip(0, 1)) * (_STEPS - 1)
    codes = np.interp(index, np.arange(_STEPS), target.inverse_curves()[0])
    return np.asarray(np.round(codes * 65535), np.uint16)
