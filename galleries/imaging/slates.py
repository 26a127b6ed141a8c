"""Slates in frames: whether one is seen, and the code on it. What is read counts only when it has the form of
`slate_codes`, so that no other code in a picture is taken for a slate's."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.slate_codes import is_code

ROOM = 0.35  # of the code's size, around it, for a second look
SUSPECT_SIDE = 1024  # pixels of the long side in which a covered code is looked for
LEAST_SIDES = 0.5  # of a suspected code's longest side, the shortest
CLOSE_SIDE = 600  # pixels of a second look's long side


class Sight(StrEnum):
    """What a frame shows: no slate, one whose code was read, or a code that could not be read."""

    NONE = "none"
    READ = "read"
    UNREAD = "unread"


@dataclass(frozen=True)
class SlateSight:
    """`code` is what a slate was named by; '' unless it was read."""

    sight: Sight
    code: str = ""


def look_for(pixels: NDArray[np.uint8]) -> SlateSight:
    """Look for a slate in sRGB pixels (h, w, 3). A frame without any code costs two searches for corners; a closer
    look is taken only where a code is suspected."""
    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    detector = cv2.QRCodeDetectorAruco()
    texts, corners = _codes(detector, grey)
    ours = next(filter(is_code, texts), "")
    if ours:
        return SlateSight(Sight.READ, ours)
    unread = [corner for text, corner in zip(texts, corners, strict=True) if not text]
    if not corners:
        unread = _suspected(grey)
    for corner in unread:
        code = _closer(detector, grey, corner)
        if code:
            return SlateSight(Sight.READ, code)
    return SlateSight(Sight.UNREAD if unread else Sight.NONE)


def _suspected(grey: NDArray[np.uint8]) -> list[NDArray[np.float32]]:
    """Where the three large corners of a code stand, whatever lies between them: a thumb, a reflection. Their corners,
    (4, 2) each."""
    scale = min(1.0, SUSPECT_SIDE / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    try:
        seen, corners = cv2.QRCodeDetector().detect(small)
    except cv2.error:
        return []
    return [corner / scale for corner in corners if _may_be_square(corner)] if seen and corners is not None else []


def _may_be_square(corner: NDArray[np.float32]) -> bool:
    """A square as it is held towards a camera: its shortest side is half the longest or more (turned by 60 degrees, by
    the cosine). Hair and cloth have three dark places too, and are no slate for it."""
    sides = np.linalg.norm(corner - np.roll(corner, -1, axis=0), axis=1)
    return bool(sides.min() >= LEAST_SIDES * sides.max()) and cv2.isContourConvex(corner.astype(np.float32))


def _codes(detector: cv2.QRCodeDetectorAruco, grey: NDArray[np.uint8]) -> tuple[list[str], list[NDArray[np.float32]]]:
    """The codes seen: their texts ('' where one could not be read) and their corners, (4, 2) each."""
    try:
        seen, corners = detector.detectMulti(grey)
        if not seen or corners is None:
            return [], []
        _read, texts, _straight = detector.decodeMulti(grey, corners)
    except cv2.error:  # of corners that lie in one line and the like
        return [], []
    return [*texts, *[""] * (len(corners) - len(texts))], list(corners)


def _closer(detector: cv2.QRCodeDetectorAruco, grey: NDArray[np.uint8], corners: NDArray[np.float32]) -> str:
    """Look again where a code is suspected: larger, with the lights evened out, in black and white. '' in vain."""
    (left, top), (right, bottom) = corners.min(axis=0), corners.max(axis=0)
    size = max(right - left, bottom - top)
    if not np.isfinite(size) or size < 8:
        return ""
    room = ROOM * size
    rows = slice(max(0, int(top - room)), int(bottom + room) + 1)
    columns = slice(max(0, int(left - room)), int(right + room) + 1)
    part = grey[rows, columns]
    if min(part.shape) < 8:
        return ""
    scale = CLOSE_SIDE / max(part.shape)
    large = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA)
    even = cv2.createCLAHE(3.0, (4, 4)).apply(large)
    threshold = cv2.adaptiveThreshold(even, 255, cv2.ADAPTIVE_THRESH_GAUSSIAN_C, cv2.THRESH_BINARY, 61, 5)
    sharp = cv2.addWeighted(large, 2.0, cv2.GaussianBlur(large, (0, 0), 4), -1.0, 0)
    for look in (large, even, sharp, cv2.medianBlur(large, 5), threshold):
        text = next(filter(is_code, _codes(detector, np.asarray(look, np.uint8))[0]), "")
        if text:
            return text
    return ""
