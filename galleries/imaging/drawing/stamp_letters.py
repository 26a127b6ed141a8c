"""A line of the stamp as ink: light letters with an edge round them, bent a little by chance and turned."""

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
_STEP = 8  # px from one place that is worked out to the next
_LOGO_HEIGHT = 1.5  # of the letters beside it
_THIN = 4  # of 255: ink that is left out
_STEEP = 2.0  # slope from which a line is drawn in one tile
_LEAST_TILE = 112  # px: each costs as much as 15,000 pixels do
_DRAWN = 64  # letters are drawn at this size at least and shrunk: small type hinted by itself would run wider

Map = NDArray[np.float32]
Ink = NDArray[np.uint8]  # (height, width, 2): letters, and the edge round them, 0..255; 4: both again


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


def _halvings(factor: float) -> int:
    """How many half steps of size (of √2) upright ink is shrunk by beforehand, so that little is left."""
    return max(0, math.floor(-2 * math.log2(min(1.0, factor)) + 1e-6))


@lru_cache(maxsize=32)
def _shrunk(text: str, drawn: int, logo: bytes, halvings: int) -> Ink:
    """`_ink` so many half steps smaller, and each of its two twice, as a tile has them: four are looked up in half the
    time of two."""
    ink = _ink(text, drawn, logo)
    by = 2 ** (-halvings / 2)
    if halvings:
        size = max(1, round(ink.shape[1] * by)), max(1, round(ink.shape[0] * by))
        ink = np.asarray(cv2.resize(ink, size, interpolation=cv2.INTER_AREA), np.uint8)
    return np.ascontiguousarray(np.dstack([ink, ink]))


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
    grid = dice.random((rows, _MOST_PATCHES), dtype=np.float32)[:, :columns]
    size = max(width, math.ceil(columns * cell)), max(height, math.ceil(rows * cell))
    if cell >= 4 * _COARSE_PATCHES:  # smooth: a coarser copy says as much, and takes a fifth of the time
        few = math.ceil(size[0] / _COARSE_PATCHES), math.ceil(size[1] / _COARSE_PATCHES)
        grid = cv2.resize(grid, few, interpolation=cv2.INTER_CUBIC)
        field = cv2.resize(grid, size, interpolation=cv2.INTER_LINEAR)[:height, :width]
    else:
        field = cv2.resize(grid, size, interpolation=cv2.INTER_CUBIC)[:height, :width]
    steep = (field - 0.5) * 2.2 + 0.5
    return np.asarray(np.clip(steep, 0, 1, out=steep), np.float32)


def drawn(one: Line, dice: np.random.Generator, *, patched: bool) -> Letters:
    """The line's ink, bent by chance; `patched`: thick and thin by chance, too. Bent, turned and brought to its size
    at once: each place of the box is looked up in the upright ink."""
    size = one.factor * one.drawn
    ink = _shrunk(one.text, one.drawn, one.logo, _halvings(one.factor))
    bend = _bend(dice, one.length, size)
    if patched:
        height, width = ink.shape[:2]
        weight = FAINT + (FULL - FAINT) * noise(dice, width, height, max(2.0, _PATCH * size * height / one.thickness))
        ink = cv2.multiply(ink, cv2.merge((weight,) * 4), scale=1 / FULL, dtype=cv2.CV_8U)
    maps = _looked_up(one, bend, ink.shape[1], ink.shape[0])
    return Letters(*one.box, tuple(_turned(ink, maps, *part) for part in _along(one)))


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


def _bend(dice: np.random.Generator, width: int, size: float) -> NDArray[np.float32]:
    """How far places along (3 × some) a line of `width` px are moved, across and down, whose letters are `size` px."""
    cells = min(_MOST_PATCHES, max(3, round(width / max(1.0, 1.6 * size))))
    chances = dice.random((2, 3, _MOST_PATCHES), dtype=np.float32)[:, :, :cells] - np.float32(0.5)
    return np.asarray(cv2.merge((chances[0], chances[1])) * np.float32(2 * BEND * size), np.float32)


def _looked_up(one: Line, bend: NDArray[np.float32], ink_w: int, ink_h: int) -> tuple[Map, Map]:
    """Column and row of the upright ink (`ink_w` × `ink_h`) under every `_STEP` px of a line's box, one step round it
    included: between them both run evenly, but for the bend, which changes as slowly."""
    box_w, box_h = one.box
    x = _STEP * np.arange(-1, -(-box_w // _STEP) + 1, dtype=np.float32) + np.float32((_STEP - 1) / 2 - (box_w - 1) / 2)
    y = _STEP * np.arange(-1, -(-box_h // _STEP) + 1, dtype=np.float32) + np.float32((_STEP - 1) / 2 - (box_h - 1) / 2)
    turn = math.radians(one.turn_deg)
    cos, sin = np.float32(math.cos(turn)), np.float32(math.sin(turn))
    # From 0 to 1 along the line and across it.
    u = (cos * x + (sin * y)[:, None]) * np.float32(1 / one.length) + np.float32(0.5)
    v = (-sin * x + (cos * y)[:, None]) * np.float32(1 / one.thickness) + np.float32(0.5)
    rows, cells = bend.shape[:2]
    moved = cv2.remap(bend, u * cells - 0.5, v * rows - 0.5, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    across, down = cv2.split(moved)
    column = (u + across * np.float32(1 / one.length)) * np.float32(ink_w) - np.float32(0.5)
    row = (v + down * np.float32(1 / one.thickness)) * np.float32(ink_h) - np.float32(0.5)
    return column, row


def _turned(ink: Ink, maps: tuple[Map, Map], left: int, top: int, width: int, height: int) -> Tile:
    few_x, few_y = left // _STEP, top // _STEP
    end_x, end_y = -(-(left + width) // _STEP) + 2, -(-(top + height) // _STEP) + 2
    size = (_STEP * (end_x - few_x), _STEP * (end_y - few_y))
    from_x, from_y = left - _STEP * (few_x - 1), top - _STEP * (few_y - 1)
    rows, columns = slice(from_y, from_y + height), slice(from_x, from_x + width)
    column, row = (cv2.resize(few[few_y:end_y, few_x:end_x], size, interpolation=cv2.INTER_LINEAR) for few in maps)
    turned = cv2.remap(ink, column[rows, columns], row[rows, columns], cv2.INTER_LINEAR)
    return Tile(left, top, np.asarray(cv2.threshold(turned, _THIN, 0, cv2.THRESH_TOZERO, dst=turned)[1], np.uint8))
