"""A line of the stamp as ink: bent a little by chance, turned, and as light letters with an edge round them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.drawing.lettering import text_mask
from galleries.imaging.drawing.logo import mask_of
from galleries.imaging.drawing.stamp_text import WORD

BEND = 0.05  # of the letters' height: how far they are moved out of their line, at most
FAINT, FULL = 0.25, 1.7  # of the usual weight, where the ink is thinnest and where it is thickest
_PATCH = 0.62  # of the letters' height: size of the patches in which ink is thick or thin
_MOST_PATCHES = 96  # either way
_COARSE_PATCHES = 4  # px
_SHRINKS_FIRST = 0.7
_FINE = 40.0  # px
_LOGO_HEIGHT = 1.5  # of the letters beside it
_THIN = 4  # of 255: ink that is left out
_STEEP = 2.0  # slope from which a line is drawn in one tile
_LEAST_TILE = 32  # px
_DRAWN = 64  # letters are drawn at this size at least and shrunk: small type hinted by itself would run wider

Ink = NDArray[np.uint8]  # (height, width, 2): letters, and the edge round them, 0..255


class Tile(NamedTuple):
    """A part of a line's ink: where its corner lies in the line's box, and the ink, (h, w, 4): letters, edge, both
    again (as `stamp._shares` has them)."""

    left: int
    top: int
    ink: NDArray[np.uint8]


@dataclass(frozen=True)
class Letters:
    """One drawn line, in tiles that lie along it: a slanted line fills a sixth of its box."""

    width: int
    height: int
    tiles: tuple[Tile, ...]

    @cached_property
    def whole(self) -> Ink:
        """All its ink in its box."""
        ink = np.zeros((self.height, self.width, 2), np.uint8)
        for left, top, part in self.tiles:
            ink[top : top + part.shape[0], left : left + part.shape[1]] = part[:, :, :2]
        return ink


@dataclass(frozen=True)
class Line:
    """A line at its size: `length` × `thickness` px, in a box of width × height px once turned."""

    text: str
    factor: float
    drawn: int
    length: int
    thickness: int
    turn_deg: float
    logo: bytes = field(default=b"", repr=False)

    @cached_property
    def box(self) -> tuple[int, int]:
        turn = math.radians(self.turn_deg)
        cos, sin = abs(math.cos(turn)), abs(math.sin(turn))
        return (
            int(self.length * cos + self.thickness * sin) + 2,
            int(self.length * sin + self.thickness * cos) + 2,
        )


@lru_cache(maxsize=2)
def _logo(logo: bytes) -> NDArray[np.uint8]:
    return mask_of(logo)


def _with_logo(logo: bytes, drawn: int) -> NDArray[np.uint8]:
    """The logo and PROOF beside it, the logo half as high again as a letter."""
    word, drawing = text_mask(WORD, drawn), _logo(logo)
    height = max(word.shape[0], round(_LOGO_HEIGHT * drawn))
    width = max(1, round(drawing.shape[1] * height / drawing.shape[0]))
    ink = np.zeros((height, width + drawn // 2 + word.shape[1]), np.uint8)
    ink[:, :width] = cv2.resize(drawing, (width, height), interpolation=cv2.INTER_AREA)
    top = (height - word.shape[0]) // 2
    ink[top : top + word.shape[0], width + drawn // 2 :] = word
    return ink


@lru_cache(maxsize=16)
def _ink(text: str, drawn: int, logo: bytes = b"") -> Ink:
    """The line upright at `drawn` px, its edge round it; with a logo, that and PROOF in the place of the text."""
    ink = _with_logo(logo, drawn) if logo else text_mask(text, drawn)
    edge = max(1, round(drawn / 14))
    ink = np.pad(ink, 2 * edge)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * edge + 1, 2 * edge + 1))
    halo = cv2.GaussianBlur(cv2.dilate(ink, brush), (0, 0), edge / 3)
    return np.asarray(np.dstack([ink, np.maximum(halo, ink) - ink]), np.uint8)


def line(text: str, size: float, longest: float, turn_deg: float, logo: bytes = b"") -> Line:
    """`text`, or a logo and PROOF, at `size` px, smaller where it would be longer than `longest`, turned clockwise."""
    drawn = max(_DRAWN, math.ceil(size))
    height, width = _ink(text, drawn, logo).shape[:2]
    factor = min(size / drawn, longest / width)
    return Line(text, factor, drawn, max(1, round(width * factor)), max(1, round(height * factor)), turn_deg, logo)


def noise(dice: np.random.Generator, width: int, height: int, cell: float) -> NDArray[np.float32]:
    """Smooth chance, 0..1 with many places near both ends, (height, width); `cell` px is the size of its patches."""
    rows, columns = (min(_MOST_PATCHES, math.ceil(side / cell) + 2) for side in (height, width))
    # As many chances at any size, or rounding would turn one pattern into another.
    grid = dice.random((_MOST_PATCHES, _MOST_PATCHES), dtype=np.float32)[:rows, :columns]
    size = max(width, math.ceil(columns * cell)), max(height, math.ceil(rows * cell))
    if cell >= 4 * _COARSE_PATCHES:  # smooth: a coarser copy says as much, and takes a fifth of the time
        few = math.ceil(size[0] / _COARSE_PATCHES), math.ceil(size[1] / _COARSE_PATCHES)
        grid = cv2.resize(grid, few, interpolation=cv2.INTER_CUBIC)
        field = cv2.resize(grid, size, interpolation=cv2.INTER_LINEAR)[:height, :width]
    else:
        field = cv2.resize(grid, size, interpolation=cv2.INTER_CUBIC)[:height, :width]
    steep = (field - 0.5) * 2.2 + 0.5
    return np.asarray(np.clip(steep, 0, 1), np.float32)


def drawn(one: Line, dice: np.random.Generator, *, patched: bool) -> Letters:
    """The line's ink, bent by chance; `patched`: thick and thin by chance, too."""
    size = one.factor * one.drawn
    finer = 1 if size >= _FINE else 2  # small letters would lose their edges by being moved twice
    shape = (finer * one.length, finer * one.thickness)
    ink = _ink(one.text, one.drawn, one.logo)
    if finer * one.factor < _SHRINKS_FIRST:
        ink = np.asarray(cv2.resize(ink, shape, interpolation=cv2.INTER_AREA), np.uint8)
    ink = _bent(ink, dice, shape, finer * size)
    if patched:
        weight = FAINT + (FULL - FAINT) * noise(dice, *shape, max(2.0, _PATCH * finer * size))
        ink = np.clip(ink * (weight / FULL)[:, :, None], 0, 255).astype(np.uint8)
    w, h = shape
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), -one.turn_deg, 1 / finer)
    out_w, out_h = one.box
    matrix[:, 2] += ((out_w - w) / 2, (out_h - h) / 2)
    return Letters(out_w, out_h, tuple(_turned(ink, matrix, left, top, w, h) for left, top, w, h in _along(one)))


def _along(one: Line) -> Iterator[tuple[int, int, int, int]]:
    """Left, top, width and height of the parts of a line's box that hold its ink: as many as are worth their number."""
    (width, height), turn = one.box, math.radians(one.turn_deg)
    slope = math.tan(turn)
    step = width
    if abs(slope) < _STEEP:
        step = min(width, max(_LEAST_TILE, int(one.thickness / max(abs(slope), 1e-3))))
    half = one.thickness / 2 / math.cos(turn) + 1 if step < width else height
    for left in range(0, width, step):
        right = min(width, left + step)
        middles = [height / 2 + slope * (x - width / 2) for x in (left, right)]
        top, bottom = max(0, math.floor(min(middles) - half)), min(height, math.ceil(max(middles) + half))
        if bottom > top:
            yield left, top, right - left, bottom - top


def _turned(ink: Ink, matrix: NDArray[np.float64], left: int, top: int, width: int, height: int) -> Tile:
    there = matrix - [[0, 0, left], [0, 0, top]]
    turned = cv2.warpAffine(ink, there, (width, height), flags=cv2.INTER_LINEAR)
    cv2.threshold(turned, _THIN, 0, cv2.THRESH_TOZERO, dst=turned)
    both = turned.view(np.uint16)
    return Tile(left, top, cv2.merge((both, both)).view(np.uint8))


def _bent(ink: Ink, dice: np.random.Generator, shape: tuple[int, int], size: float) -> Ink:
    """The ink at `shape` (width, height), whose letters are `size` px, every place moved by a little."""
    width, height = shape
    cells = min(_MOST_PATCHES, max(3, round(width / max(1.0, 1.6 * size))))
    grids = (dice.random((2, 3, _MOST_PATCHES), dtype=np.float32)[:, :, :cells] - np.float32(0.5)) * np.float32(
        2 * BEND * size
    )
    across, down = ink.shape[1] / width, ink.shape[0] / height
    x, y = (cv2.resize(grid, shape, interpolation=cv2.INTER_LINEAR) for grid in grids)
    x = (x + np.arange(width, dtype=np.float32)) * np.float32(across)
    y = (y + np.arange(height, dtype=np.float32)[:, None]) * np.float32(down)
    return np.asarray(cv2.remap(ink, x, y, cv2.INTER_LINEAR), np.uint8)
