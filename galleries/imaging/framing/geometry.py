"""Rectangles, ratios, turned crops and the eight EXIF orientations, each transform with its inverse.

All rectangles are whole pixels, origin top left, y downward. Points are continuous: the top left corner
of the first pixel is (0, 0), its centre (0.5, 0.5).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from galleries.imaging.codes import Code
from galleries.imaging.errors import BadCrop

Point = tuple[float, float]

_COARSE = 0.02  # of the frame's shorter side: larger steps of a ratio are too coarse


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle of whole pixels; raises `BadCrop` when it has no area."""

    x: int
    y: int
    width: int
    height: int

    def __post_init__(self) -> None:
        if self.width < 1 or self.height < 1:
            raise BadCrop(Code.NO_AREA, width_px=self.width, height_px=self.height)

    @property
    def right(self) -> int:
        return self.x + self.width

    @property
    def bottom(self) -> int:
        return self.y + self.height

    @property
    def centre(self) -> Point:
        return (self.x + self.width / 2, self.y + self.height / 2)

    @property
    def area(self) -> int:
        return self.width * self.height

    def as_list(self) -> list[int]:
        return [self.x, self.y, self.width, self.height]

    def contains(self, other: Rect) -> bool:
        return self.x <= other.x and self.y <= other.y and other.right <= self.right and other.bottom <= self.bottom

    def inside(self, width: int, height: int) -> bool:
        """Whether it lies wholly inside a frame of width × height pixels."""
        return self.x >= 0 and self.y >= 0 and self.right <= width and self.bottom <= height

    def clamp_to(self, width: int, height: int) -> Rect:
        """The nearest rectangle inside a frame of width × height: shifted first, cut only if it must be."""
        w, h = min(self.width, width), min(self.height, height)
        return Rect(min(max(self.x, 0), width - w), min(max(self.y, 0), height - h), w, h)

    def scaled(self, factor: float) -> Rect:
        """Edges multiplied by `factor` and rounded to whole pixels (half up); never less than one pixel."""
        left, top = math.floor(self.x * factor + 0.5), math.floor(self.y * factor + 0.5)
        right, bottom = math.floor(self.right * factor + 0.5), math.floor(self.bottom * factor + 0.5)
        return Rect(left, top, max(1, right - left), max(1, bottom - top))

    def moved(self, dx: int, dy: int) -> Rect:
        return Rect(self.x + dx, self.y + dy, self.width, self.height)


@dataclass(frozen=True, slots=True)
class Ratio:
    """A shape, width to height, held exactly and in lowest terms: Ratio(1200, 1500) == Ratio(4, 5)."""

    width: int
    height: int

    def __post_init__(self) -> None:
        if self.width < 1 or self.height < 1:
            raise BadCrop(Code.SHAPE_NO_AREA, width=self.width, height=self.height)
        divisor = math.gcd(self.width, self.height)
        object.__setattr__(self, "width", self.width // divisor)
        object.__setattr__(self, "height", self.height // divisor)

    @property
    def fraction(self) -> Fraction:
        return Fraction(self.width, self.height)

    def width_for(self, height: int) -> int:
        """The whole width nearest to this shape at `height` (half up), at least 1."""
        return max(1, (2 * height * self.width + self.height) // (2 * self.height))

    def height_for(self, width: int) -> int:
        return max(1, (2 * width * self.height + self.width) // (2 * self.width))

    def matches(self, rect: Rect) -> bool:
        """Whether `rect` has this shape to the pixel: one side follows from the other by rounding."""
        return rect.width == self.width_for(rect.height) or rect.height == self.height_for(rect.width)


def fit_largest(ratio: Ratio, frame: Rect | tuple[int, int]) -> Rect:
    """The largest centred rectangle of `ratio` (to the pixel) inside `frame` (a Rect, or (width, height))."""
    outer = frame if isinstance(frame, Rect) else Rect(0, 0, *frame)
    width, height = outer.width, ratio.height_for(outer.width)
    if height > outer.height:
        width, height = ratio.width_for(outer.height), outer.height
        width = min(width, outer.width)
    return Rect(outer.x + (outer.width - width) // 2, outer.y + (outer.height - height) // 2, width, height)


# --- EXIF orientation -----------------------------------------------------------------------------------
# Meaning of the tag: CIPA DC-008 (Exif 2.32), tag 0x0112 [std, from memory]. Each entry says whether the
# axes are exchanged and which displayed axis then runs backwards.

_SWAP = {1: False, 2: False, 3: False, 4: False, 5: True, 6: True, 7: True, 8: True}
_FLIP_X = {1: False, 2: True, 3: True, 4: False, 5: False, 6: True, 7: True, 8: False}
_FLIP_Y = {1: False, 2: False, 3: True, 4: True, 5: False, 6: False, 7: True, 8: True}
INVERSE_ORIENTATION = {1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}


def oriented_size(orientation: int, width: int, height: int) -> tuple[int, int]:
    """Size as displayed of a picture stored as width × height."""
    return (height, width) if _SWAP[orientation] else (width, height)


def orient_point(orientation: int, width: int, height: int, point: Point) -> Point:
    """A point of the stored picture (width × height) in the displayed one."""
    x, y = point
    if _SWAP[orientation]:
        x, y = y, x
        width, height = height, width
    return (width - x if _FLIP_X[orientation] else x, height - y if _FLIP_Y[orientation] else y)


def unorient_point(orientation: int, width: int, height: int, point: Point) -> Point:
    """Inverse of `orient_point`; width × height are still those of the stored picture."""
    shown_width, shown_height = oriented_size(orientation, width, height)
    return orient_point(INVERSE_ORIENTATION[orientation], shown_width, shown_height, point)


def orient_rect(orientation: int, width: int, height: int, rect: Rect) -> Rect:
    """A rectangle of the stored picture (width × height) in the displayed one; exact."""
    ax, ay = orient_point(orientation, width, height, (rect.x, rect.y))
    bx, by = orient_point(orientation, width, height, (rect.right, rect.bottom))
    return Rect(int(min(ax, bx)), int(min(ay, by)), int(abs(ax - bx)), int(abs(ay - by)))


def unorient_rect(orientation: int, width: int, height: int, rect: Rect) -> Rect:
    """Inverse of `orient_rect`; width × height are still those of the stored picture."""
    shown_width, shown_height = oriented_size(orientation, width, height)
    return orient_rect(INVERSE_ORIENTATION[orientation], shown_width, shown_height, rect)


# --- turned crops ---------------------------------------------------------------------------------------
# A tilt of t degrees turns the crop's own axes clockwise as seen (y downward), about its centre. A crop
# whose tilt equals the roll of the eye line (atan2(dy, dx) from the left to the right end as seen) comes
# out with level eyes.


def from_turned(rect: Rect, tilt_deg: float, point: Point) -> Point:
    """Where `point`, measured in the untilted crop from its top left corner, lies in the frame."""
    cx, cy = rect.centre
    u, v = point[0] - rect.width / 2, point[1] - rect.height / 2
    cos, sin = math.cos(math.radians(tilt_deg)), math.sin(math.radians(tilt_deg))
    return (cx + cos * u - sin * v, cy + sin * u + cos * v)


def to_turned(rect: Rect, tilt_deg: float, point: Point) -> Point:
    """Inverse of `from_turned`: a point of the frame in the turned crop's own pixels."""
    cx, cy = rect.centre
    dx, dy = point[0] - cx, point[1] - cy
    cos, sin = math.cos(math.radians(tilt_deg)), math.sin(math.radians(tilt_deg))
    return (rect.width / 2 + cos * dx + sin * dy, rect.height / 2 - sin * dx + cos * dy)


def turned_corners(rect: Rect, tilt_deg: float) -> tuple[Point, Point, Point, Point]:
    """The four corners (top left, top right, bottom right, bottom left) of the turned crop in the frame."""
    w, h = rect.width, rect.height
    return (
        from_turned(rect, tilt_deg, (0, 0)),
        from_turned(rect, tilt_deg, (w, 0)),
        from_turned(rect, tilt_deg, (w, h)),
        from_turned(rect, tilt_deg, (0, h)),
    )


def turned_inside(rect: Rect, tilt_deg: float, width: int, height: int, slack: float = 1e-6) -> bool:
    """Whether the turned crop lies wholly inside a frame of width × height pixels."""
    return all(
        -slack <= x <= width + slack and -slack <= y <= height + slack for x, y in turned_corners(rect, tilt_deg)
    )


def shapes_inside(frame_w: int, frame_h: int, ratio: Ratio) -> list[tuple[int, int]]:
    """Every (width, height) of the shape inside the frame, smallest first; never empty."""
    steps = min(frame_w // ratio.width, frame_h // ratio.height)
    if max(ratio.width, ratio.height) <= _COARSE * min(frame_w, frame_h) and steps:
        return [(k * ratio.width, k * ratio.height) for k in range(1, steps + 1)]
    if ratio.width <= ratio.height:
        sides = [(ratio.width_for(h), h) for h in range(1, frame_h + 1)]
    else:
        sides = [(w, ratio.height_for(w)) for w in range(1, frame_w + 1)]
    fitting = [(w, h) for w, h in sides if w <= frame_w and h <= frame_h]
    return fitting or [(1, 1)]
