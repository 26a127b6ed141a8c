"""Planes of another profile's RGB made sRGB's without a detour by RGB of every pixel.

Colour is converted where it has its samples, at half of both sides. Light goes by the curve of neutral grey, every
pixel of it, and by as much more as the colours of its place ask for, which changes as slowly as colour does. What is
grey, and what is even, comes out as a conversion of each pixel would have it; the finest detail within strong colours
may differ, by less than half resolution of colour does itself. It takes a third of the time.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from galleries.imaging.colour import convert
from galleries.imaging.colour.planes import Plane, Planes, halved, to_rgb

_NONE = 128  # of what light changes by, in 8 bits; it is -81 to 13 over all of ProPhoto RGB


def planes_to_srgb(planes: Planes, profile: bytes) -> Planes:
    """Planes with colour at half of both sides, of RGB in `profile`, as those of sRGB; themselves where it is sRGB's.

    Raises `BadProfile`.
    """
    srgb = convert.srgb_profile()
    if convert.same_colours(profile, srgb):
        return planes
    curve = _grey_curve(profile)
    width, height = planes.size
    few = planes.colour_size
    coarse = halved(planes.luma)
    rgb = convert.between_profiles(to_rgb(Planes(coarse, planes.cb, planes.cr)), profile, srgb, 8)
    luma, cr, cb = cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2YCrCb))
    more = cv2.addWeighted(luma, 1, _by(curve, coarse), -1, _NONE)
    more = cv2.resize(more, (2 * few[0], 2 * few[1]), interpolation=cv2.INTER_LINEAR)[:height, :width]
    return Planes(np.asarray(cv2.addWeighted(_by(curve, planes.luma), 1, more, 1, -_NONE), np.uint8), cb, cr)


def _by(curve: Plane | None, plane: Plane) -> Plane:
    return plane if curve is None else np.asarray(cv2.LUT(plane, curve), np.uint8)


@lru_cache(maxsize=16)
def _grey_curve(profile: bytes) -> Plane | None:
    """sRGB's luma of each grey of the profile, (256,); None where it is the same number, as in Display P3."""
    grey = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    rgb = convert.between_profiles(grey, profile, convert.srgb_profile(), 8)
    curve = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)[0], np.uint8)
    return None if np.array_equal(curve, grey[0, :, 0]) else curve
