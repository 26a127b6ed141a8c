"""How far apart two colours are: CIEDE2000, and the contrast of two lightnesses as WCAG counts it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from galleries.imaging.arrays import Floats

_25_7 = 25.0**7


def ciede2000(one: ArrayLike, other: ArrayLike, lightness_weight: float = 1.0) -> Floats:
    """The difference of CIE L*a*b* colours (..., 3), without a unit; about 1 is just seen side by side.

    `lightness_weight` is the formula's k_L: 2 counts a difference of lightness half; the other weights are 1.
    ISO/CIE 11664-6:2014, written as in Sharma, Wu, Dalal, 'The CIEDE2000 color-difference formula',
    Color Research and Application 30 (2005), whose numbers of equations stand in the comments.
    """
    (l1, a1, b1), (l2, a2, b2) = (np.moveaxis(np.asarray(lab, np.float64), -1, 0) for lab in (one, other))
    grey = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7  # 2, 3
    stretch = 1.5 - 0.5 * np.sqrt(grey / (grey + _25_7))  # 4, 5
    c1, c2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)  # 6
    h1, h2 = np.arctan2(b1, a1 * stretch) % (2 * np.pi), np.arctan2(b2, a2 * stretch) % (2 * np.pi)  # 7
    coloured = c1 * c2 > 0
    turn = h2 - h1
    turn = np.where(turn > np.pi, turn - 2 * np.pi, np.where(turn < -np.pi, turn + 2 * np.pi, turn)) * coloured  # 10
    hue = 2 * np.sqrt(c1 * c2) * np.sin(turn / 2)  # 11
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2  # 12, 13
    total = h1 + h2
    middle = np.where(np.abs(h1 - h2) <= np.pi, total / 2, (total + np.where(total < 2 * np.pi, 2, -2) * np.pi) / 2)
    middle = np.where(coloured, middle, total)  # 14
    t = (
        1
        - 0.17 * np.cos(middle - np.radians(30))
        + 0.24 * np.cos(2 * middle)
        + 0.32 * np.cos(3 * middle + np.radians(6))
        - 0.20 * np.cos(4 * middle - np.radians(63))
    )  # 15
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)  # 18
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t  # 19, 20
    turned = np.radians(30) * np.exp(-(((np.degrees(middle) - 275) / 25) ** 2))  # 16
    rotation = -2 * np.sqrt(chroma**7 / (chroma**7 + _25_7)) * np.sin(2 * turned)  # 17, 21
    d_l, d_c, d_h = (l2 - l1) / s_l / lightness_weight, (c2 - c1) / s_c, hue / s_h
    return np.asarray(np.sqrt(np.maximum(0, d_l**2 + d_c**2 + d_h**2 + rotation * d_c * d_h)))  # 22


def luminance_of(lightness: float) -> float:
    """Relative luminance Y, 0 to 1, of a CIE L* of 0 to 100 (CIE 15)."""
    return ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness * 27 / 24389


def contrast_ratio(one: float, other: float) -> float:
    """Of two relative luminances, 1 to 21: WCAG 2.2, 'contrast ratio'."""
    low, high = sorted((one, other))
    return (high + 0.05) / (low + 0.05)
