"""Is this retouched picture made from that frame?

Answered on small grey versions. They are laid over each other by features (ORB, Rublee et al. 2011, from memory)
and a robust similarity, refined by ECC (Evangelidis and Psarakis 2008, from memory) where that is not enough.
Likeness is the correlation of their fine structure over the common area: a retouch changes tone, colour and skin,
yet hair, cloth and lids stay where they were; in the next frame of a run they do not. Nothing about identity.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats
from galleries.imaging.colour import convert
from galleries.imaging.opening import decode
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.imaging.output import resize

Grey = NDArray[np.uint8]

LONG_SIDE = 768
SAME = 0.80  # correlation of fine structure above which two pictures are the same exposure
OTHER = 0.20  # under which they are certainly not
CLEARLY = 2 / 3
HOPE = 0.10  # under it two pictures simply laid on each other are not worth refining
SURE = 0.90  # nothing is refined above it
LEAST_AREA = 0.12  # of the frame that a crop must still show
_LEAST_INLIERS = 12


@dataclass(frozen=True)
class Small:
    """A picture made small for comparing: grey (h, w) uint8, and its scale to the upright full picture."""

    grey: Grey
    scale: float


@dataclass(frozen=True)
class Overlay:
    """How `other` lies on `frame`: a similarity (2 × 3, other's small pixels to the frame's) and how well.

    likeness: correlation of fine structure over the common area, -1..1. area: share of the frame covered.
    """

    matrix: Floats
    likeness: float
    area: float
    inliers: int

    @property
    def same(self) -> bool:
        return self.likeness >= SAME and self.area >= LEAST_AREA

    @property
    def other(self) -> bool:
        return self.likeness < OTHER


def open_small(source: bytes | Path, limits: Limits = DEFAULT_LIMITS, long_side: int = LONG_SIDE) -> Small:
    """Open for comparing. Raises as `decode.open_picture`."""
    picture = decode.open_picture(source, limits, at_least=long_side)
    width, height = resize.fit_within(picture.facts.width, picture.facts.height, long_side)
    pixels = resize.resize_to(picture.pixels, width, height)
    rgb = convert.between_profiles(pixels, picture.profile, convert.srgb_profile(), 8)
    return Small(np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.uint8), width / picture.facts.width)


def choose(likenesses: Sequence[float | None]) -> int | None:
    """Which of several frames a picture was made from, by their likenesses to it; None when that is doubtful.

    The best must be the same exposure for sure, and what it lacks to likeness 1 at most two thirds of what the next
    one lacks: frames of one run are alike, and a strong retouch costs likeness too.
    """
    known = sorted(((value, index) for index, value in enumerate(likenesses) if value is not None), reverse=True)
    if not known or known[0][0] < SAME:
        return None
    if len(known) > 1 and 1 - known[0][0] > CLEARLY * (1 - known[1][0]):
        return None
    return known[0][1]


def overlay(frame: Small, other: Small) -> Overlay | None:
    """Lay `other` over `frame`; None when no common place is found."""
    best: Overlay | None = None
    for matrix, inliers in _starts(frame, other):
        trial = _judge(frame, other, matrix, inliers)
        promising = inliers > 0 or (trial is not None and trial.likeness > HOPE)
        if promising and (trial is None or trial.likeness < SURE):
            trial = _judge(frame, other, _by_ecc(frame.grey, other.grey, matrix), inliers) or trial
        if trial is not None and (best is None or trial.likeness > best.likeness):
            best = trial
        if best is not None and best.likeness >= SURE:
            break
    return best


def _starts(frame: Small, other: Small) -> list[tuple[Floats, int]]:
    """Similarities to begin from: by features, and the two pictures simply laid on each other."""
    similarity = _by_features(frame.grey, other.grey)
    starts = [similarity] if similarity else []
    same_shape = abs(math.log(frame.grey.shape[0] / frame.grey.shape[1] / other.grey.shape[0] * other.grey.shape[1]))
    if same_shape < 0.02:
        s = frame.grey.shape[1] / other.grey.shape[1]
        starts.append((np.array([[s, 0, (s - 1) / 2], [0, s, (s - 1) / 2]], np.float64), 0))
    return starts


def _even(grey: Grey) -> Grey:
    """Local contrast made even, so that a changed tone curve matters little."""
    return np.asarray(cv2.createCLAHE(3.0, (8, 8)).apply(grey), np.uint8)


def _by_features(frame: Grey, other: Grey) -> tuple[Floats, int] | None:
    orb = cv2.ORB.create(2500, 1.2, 10, fastThreshold=6)
    here, there = orb.detectAndCompute(_even(frame), None), orb.detectAndCompute(_even(other), None)
    if here[1] is None or there[1] is None or min(len(here[1]), len(there[1])) < _LEAST_INLIERS:
        return None
    pairs = cv2.BFMatcher(cv2.NORM_HAMMING).knnMatch(there[1], here[1], k=2)
    good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
    if len(good) < _LEAST_INLIERS:
        return None
    source = np.array([there[0][m.queryIdx].pt for m in good], np.float64)
    target = np.array([here[0][m.trainIdx].pt for m in good], np.float64)
    cv2.setRNGSeed(1)
    matrix, mask = cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=2.5, maxIters=4000)
    if matrix is None or int(mask.sum()) < _LEAST_INLIERS:
        return None
    scale = math.hypot(matrix[0, 0], matrix[1, 0])
    return (np.asarray(matrix, np.float64), int(mask.sum())) if 0.15 < scale < 6 else None


def _fine(grey: NDArray[Any]) -> NDArray[np.float32]:
    """Structure between about 2 and 12 pixels, its local strength made even."""
    values = grey.astype(np.float32)
    band = cv2.GaussianBlur(values, (0, 0), 1.2) - cv2.GaussianBlur(values, (0, 0), 6.0)
    strength = cv2.GaussianBlur(band * band, (0, 0), 12.0)
    return np.asarray(band / np.sqrt(strength + 4.0), np.float32)


def _judge(frame: Small, other: Small, matrix: Floats, inliers: int) -> Overlay | None:
    h, w = frame.grey.shape
    laid = np.asarray(cv2.warpAffine(other.grey, matrix, (w, h), flags=cv2.INTER_LINEAR), np.uint8)
    cover = cv2.warpAffine(np.full(other.grey.shape, 255, np.uint8), matrix, (w, h), flags=cv2.INTER_NEAREST)
    inside = np.asarray(cv2.erode(cover, np.ones((15, 15), np.uint8)), np.uint8) > 0
    area = float(inside.mean())
    if area < 0.02:
        return None
    one, two = _fine(frame.grey), _fine(laid)
    weight = inside & _busy(frame.grey, laid)
    if int(weight.sum()) < 400:
        return Overlay(matrix, 0.0, area, inliers)
    a, b = one[weight], two[weight]
    likeness = float((a * b).sum() / math.sqrt(float((a * a).sum()) * float((b * b).sum()) + 1e-9))
    return Overlay(matrix, likeness, area, inliers)


def _busy(frame: Grey, laid: Grey) -> NDArray[np.bool_]:
    """Where either picture has structure at all: a plain backdrop says nothing."""

    def strong(grey: Grey) -> NDArray[np.bool_]:
        values = grey.astype(np.float32)
        band = cv2.GaussianBlur(values, (0, 0), 1.2) - cv2.GaussianBlur(values, (0, 0), 6.0)
        local = np.sqrt(cv2.GaussianBlur(band * band, (0, 0), 6.0))
        return np.asarray(local > max(2.0, float(np.percentile(local, 60))), np.bool_)

    return strong(frame) | strong(laid)


def _by_ecc(frame: Grey, other: Grey, matrix: Floats) -> Floats:
    """The similarity made finer; the one given when the pictures are too unlike for it."""
    inverse = cv2.invertAffineTransform(matrix).astype(np.float32)
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 30, 1e-4)
    h, w = frame.shape
    mask = np.full(other.shape, 255, np.uint8)
    try:
        _, warp = cv2.findTransformECC(_even(frame), _even(other), inverse, cv2.MOTION_AFFINE, criteria, mask, 5)
    except cv2.error:
        return matrix
    back = np.asarray(cv2.invertAffineTransform(np.asarray(warp, np.float64)), np.float64)
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64)
    apart = np.abs(corners @ (warp - inverse)[:, :2].T + (warp - inverse)[:, 2]).max()
    return back if apart < 0.05 * max(other.shape) else matrix
