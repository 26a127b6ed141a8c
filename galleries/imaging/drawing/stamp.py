"""The proof stamp: the studio's name and PROOF in slanted rows over the whole frame, every face's expression free.

`stamp_layout` says where its pieces lie. Letters are light on what is dark and dark on what is light, with an edge
of the other kind, and weigh what the picture beneath asks for: much where it is busy, as much as moves its tone by
about `_MOVE` code values elsewhere. Their ink is thick and thin in patches that a secret settles for each frame, so
that knowing the words does not help to subtract them: the share of each place would have to be known as well.

A visible stamp deters; it does not make a picture safe. Whoever paints over it by hand, or has a program invent what
lies beneath, gets a picture, though not this one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.colour.planes import Plane, Planes
from galleries.imaging.drawing.stamp_layout import Box, clear_zones, pieces_of, places_of
from galleries.imaging.drawing.stamp_letters import FAINT, FULL, noise
from galleries.imaging.drawing.stamp_text import StampText
from galleries.imaging.face.faces import Face
from galleries.imaging.output import resize

__all__ = ["StampText", "clear_zones", "stamp", "stamp_boxes", "stamp_planes"]

_MOVE = 62.0  # code values
_MOST_MOVE = 140.0
_MOST_OPAQUE = 0.80
_EDGE = 0.42  # opacity of the edge
_TURNS_DARK = 140  # mean luma from which letters are dark
_BUSY, _MORE = 28.0, 0.35  # standard deviation of luma that asks for as much more ink
_COARSE = 4  # pixels either way that share what is beneath
_CELLS = 200  # of the picture beneath that one unit has
_PATCH = 0.028  # in units: size of the patches in which ink is thick or thin


def stamp(rgb: Pixels, text: StampText, faces: Sequence[Face]) -> Pixels:
    """A stamped copy of an sRGB picture, uint8 (height, width, 3); `faces`: everybody's, in its pixels.

    Raises ValueError for another shape or type.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"stamp wants uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}.")
    out = np.array(rgb, order="C", copy=True)
    height, width = out.shape[:2]
    for rows, columns, keep, light in _laid(width, height, text, faces, lambda: _small(out)):
        part = out[rows, columns]
        under = cv2.multiply(part, cv2.merge((keep, keep, keep)), scale=1 / 255)
        cv2.add(under, cv2.merge((light, light, light)), dst=part)
    return out


def stamp_planes(planes: Planes, text: StampText, faces: Sequence[Face]) -> Planes:
    """Stamped copies of a picture's planes, colour at half of both sides, as `stamp` would stamp its RGB: the ink is
    neutral, so that it lies on the light, and colour is only faded beneath it."""
    width, height = planes.size
    luma, keeps = planes.luma.copy(), np.full((height + height % 2, width + width % 2), 255, np.uint8)
    for rows, columns, keep, light in _laid(width, height, text, faces, lambda: _small(planes.luma)):
        part, kept = luma[rows, columns], keeps[rows, columns]
        cv2.add(cv2.multiply(part, keep, scale=1 / 255), light, dst=part)
        cv2.min(kept, keep, dst=kept)
    keeps = cv2.resize(keeps, planes.colour_size, interpolation=cv2.INTER_AREA)
    neutral = cv2.convertScaleAbs(keeps, alpha=-128 / 255, beta=128)
    cb, cr = (cv2.add(cv2.multiply(colour, keeps, scale=1 / 255), neutral) for colour in (planes.cb, planes.cr))
    return Planes(luma, cb, cr)


def _laid(
    width: int, height: int, text: StampText, faces: Sequence[Face], luma: Callable[[], Pixels]
) -> Iterator[tuple[slice, slice, Plane, Plane]]:
    """Rows and columns of every part that gets ink, what share of the picture is kept there, in 1/255, and the light
    that is added. `luma`: of the picture beneath, as `_small` has it, asked for before any ink lies."""
    pieces = pieces_of(width, height, faces, text)
    if not pieces:
        return
    beneath = _beneath(width, height, luma(), text)
    table = _shares(text.strength)
    # A held piece carries its patches in its own ink.
    held = (beneath & np.uint16(255)) + np.uint16(round(100 * FULL) * 256)
    for piece in pieces:
        for left, top, ink in piece.tiles():
            bottom, right = top + ink.shape[0], left + ink.shape[1]
            keep, light = _ink_of(left, top, ink, held if piece.place.held else beneath, table)
            yield slice(top, bottom), slice(left, right), keep, light


def _ink_of(
    left: int, top: int, ink: Pixels, beneath: NDArray[np.uint16], table: NDArray[np.int32]
) -> tuple[Plane, Plane]:
    """What a tile's ink keeps of the picture, and its light, by the shares (`_shares`) of what lies beneath it."""
    bottom, right = top + ink.shape[0], left + ink.shape[1]
    cells = beneath[top // _COARSE : -(-bottom // _COARSE), left // _COARSE : -(-right // _COARSE)]
    row = np.repeat(table.take(cells, mode="clip"), _COARSE, axis=1)
    # Each row again below itself: two thirds of what a resize takes.
    here = cv2.repeat(row, 1, _COARSE).view(np.uint8).reshape(_COARSE * row.shape[0], row.shape[1], 4)
    here = here[top % _COARSE :, left % _COARSE :][: ink.shape[0], : ink.shape[1]]
    fill, edge, light_fill, light_edge = cv2.split(cv2.multiply(ink, here, scale=1 / 255))
    return cv2.bitwise_not(cv2.add(fill, edge)), cv2.add(light_fill, light_edge)


def _cells(width: int, height: int) -> tuple[int, int]:
    """Width and height in cells of what is looked at beneath the ink."""
    cell = max(1.0, math.sqrt(height * width) / _CELLS)
    return max(1, round(width / cell)), max(1, round(height / cell))


def _small(picture: Pixels) -> Plane:
    """The light of an RGB picture, or of a plane, in cells."""
    few = resize.plain_average(picture, *_cells(picture.shape[1], picture.shape[0]))
    return np.asarray(few if few.ndim == 2 else cv2.cvtColor(few, cv2.COLOR_RGB2GRAY), np.uint8)


def _beneath(width: int, height: int, tones: Plane, text: StampText) -> NDArray[np.uint16]:
    """Of each `_COARSE` × `_COARSE` pixels: the ink's weight × 256, 100 being usual, and the mean luma round it."""
    luma = tones.astype(np.float32)
    size = luma.shape[1], luma.shape[0]
    mean = cv2.blur(luma, (7, 7))
    busy = np.sqrt(np.maximum(cv2.blur(luma * luma, (7, 7)) - mean * mean, 0))
    more = 1 + _MORE * np.minimum(busy / _BUSY, 1)
    patches = noise(text.of_frame("patches"), *size, _PATCH * _CELLS)
    weight = 100 * (FAINT + (FULL - FAINT) * patches) * more

    places = (_ceil(width / _COARSE), _ceil(height / _COARSE))
    both = cv2.convertScaleAbs(cv2.merge((mean, weight)))  # neither is below zero
    spread = cv2.resize(both, places, interpolation=cv2.INTER_LINEAR)
    return np.asarray(spread, np.uint8).view(np.uint16)[:, :, 0]


def _ceil(value: float) -> int:
    return max(1, math.ceil(value))


@lru_cache(maxsize=8)
def _shares(strength: float) -> NDArray[np.int32]:
    """By what is beneath (weight × 256 + mean luma), in 1/255 and four bytes of one number: opacity of letters and of
    their edge, and the part of each that is light: letters where they are light, the edge where they are dark."""
    weight, tone = np.divmod(np.arange(65536), 256)
    dark = tone >= _TURNS_DARK
    share = weight / 100 * strength
    fill = np.minimum(np.minimum(_MOVE * share, _MOST_MOVE) / np.where(dark, tone, 255 - tone), _MOST_OPAQUE)
    edge = np.minimum(_EDGE * share, _MOST_OPAQUE)
    four = np.stack([fill, edge, np.where(dark, 0, fill), np.where(dark, edge, 0)], axis=1)
    return np.ascontiguousarray(np.rint(255 * four).astype(np.uint8)).view(np.int32)[:, 0]


def stamp_boxes(width: int, height: int, faces: Sequence[Face], text: StampText) -> list[Box]:
    """Boxes (x, y, width, height) of the whole pieces drawn; a piece cut by the frame's edge is not among them."""
    boxes = (place.box for place in places_of(width, height, faces, text))
    return [(x, y, w, h) for x, y, w, h in boxes if x >= 0 and y >= 0 and x + w <= width and y + h <= height]
