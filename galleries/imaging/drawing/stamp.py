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
from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.drawing.stamp_layout import Box, clear_zones, pieces_of, places_of
from galleries.imaging.drawing.stamp_letters import FAINT, FULL, Tile, noise
from galleries.imaging.drawing.stamp_text import StampText
from galleries.imaging.face.faces import Face
from galleries.imaging.output import resize

__all__ = ["StampText", "clear_zones", "stamp", "stamp_boxes", "stamp_over"]

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
    return stamp_over(np.array(rgb, order="C", copy=True), text, faces)


def stamp_over(rgb: Pixels, text: StampText, faces: Sequence[Face]) -> Pixels:
    """As `stamp`, on the picture itself where it can be written to: for a picture that nobody needs any more."""
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"stamp wants uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}.")
    out = np.require(rgb, requirements=["C", "W"])
    height, width = out.shape[:2]
    pieces = pieces_of(width, height, faces, text)
    if not pieces:
        return out
    beneath = _beneath(out, text)
    table = _shares(text.strength)
    # A held piece carries its patches in its own ink.
    held = (beneath & np.uint16(255)) + np.uint16(round(100 * FULL) * 256)
    for piece in pieces:
        for tile in piece.tiles():
            _lay_on(out, tile, held if piece.place.held else beneath, table)
    return out


def _lay_on(out: Pixels, tile: Tile, beneath: NDArray[np.uint16], table: NDArray[np.uint32]) -> None:
    """Lay a tile's ink on `out`, by the shares (`_shares`) of what lies beneath it."""
    left, top, ink = tile
    bottom, right = top + ink.shape[0], left + ink.shape[1]
    few = table.take(beneath[top // _COARSE : -(-bottom // _COARSE), left // _COARSE : -(-right // _COARSE)])
    size = (few.shape[1] * _COARSE, few.shape[0] * _COARSE)
    here = cv2.resize(few.view(np.uint8).reshape(*few.shape, 4), size, interpolation=cv2.INTER_NEAREST)
    here = here[top % _COARSE :, left % _COARSE :][: ink.shape[0], : ink.shape[1]]
    fill, edge, light_fill, light_edge = cv2.split(cv2.multiply(ink, here, scale=1 / 255))
    keep, light = cv2.bitwise_not(cv2.add(fill, edge)), cv2.add(light_fill, light_edge)
    part = out[top:bottom, left:right]
    under = cv2.multiply(part, cv2.merge((keep, keep, keep)), scale=1 / 255)
    cv2.add(under, cv2.merge((light, light, light)), dst=part)


def _beneath(rgb: Pixels, text: StampText) -> NDArray[np.uint16]:
    """Of each `_COARSE` × `_COARSE` pixels: the ink's weight × 256, 100 being usual, and the mean luma round it."""
    height, width = rgb.shape[:2]
    cell = max(1.0, math.sqrt(height * width) / _CELLS)
    size = (max(1, round(width / cell)), max(1, round(height / cell)))
    luma = cv2.cvtColor(resize.plain_average(rgb, *size), cv2.COLOR_RGB2GRAY).astype(np.float32)
    mean = cv2.blur(luma, (7, 7))
    busy = np.sqrt(np.maximum(cv2.blur(luma * luma, (7, 7)) - mean * mean, 0))
    more = 1 + _MORE * np.minimum(busy / _BUSY, 1)
    patches = noise(text.of_frame("patches"), *size, _PATCH * _CELLS)
    weight = 100 * (FAINT + (FULL - FAINT) * patches) * more

    places = (_ceil(width / _COARSE), _ceil(height / _COARSE))
    both = np.dstack([mean, weight])
    spread = cv2.resize(np.clip(np.rint(both), 0, 255).astype(np.uint8), places, interpolation=cv2.INTER_LINEAR)
    return np.asarray(spread, np.uint8).view(np.uint16)[:, :, 0]


def _ceil(value: float) -> int:
    return max(1, math.ceil(value))


@lru_cache(maxsize=8)
def _shares(strength: float) -> NDArray[np.uint32]:
    """By what is beneath (weight × 256 + mean luma), in 1/255 and four bytes of one number: opacity of letters and of
    their edge, and the part of each that is light: letters where they are light, the edge where they are dark."""
    weight, tone = np.divmod(np.arange(65536), 256)
    dark = tone >= _TURNS_DARK
    share = weight / 100 * strength
    fill = np.minimum(np.minimum(_MOVE * share, _MOST_MOVE) / np.where(dark, tone, 255 - tone), _MOST_OPAQUE)
    edge = np.minimum(_EDGE * share, _MOST_OPAQUE)
    four = np.stack([fill, edge, np.where(dark, 0, fill), np.where(dark, edge, 0)], axis=1)
    return np.ascontiguousarray(np.rint(255 * four).astype(np.uint8)).view(np.uint32)[:, 0]


def stamp_boxes(width: int, height: int, faces: Sequence[Face], text: StampText) -> list[Box]:
    """Boxes (x, y, width, height) of the whole pieces drawn; a piece cut by the frame's edge is not among them."""
    boxes = (place.box for place in places_of(width, height, faces, text))
    return [(x, y, w, h) for x, y, w, h in boxes if x >= 0 and y >= 0 and x + w <= width and y + h <= height]
