"""Where the pieces of the proof stamp lie: slanted rows over the frame, and pieces that go with each face.

Everything is measured in parts of the frame (unit: the square root of its area) or of the face, so the stamp looks
the same at any size. What the sitting's secret settles (slant, size, distance and places of the rows) all its frames
share; each frame has small moves of its own. Rows that lay somewhere else in each frame would leave most of the
picture free in some frame: the median over a look would be clean.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from galleries.imaging.drawing.stamp_letters import Letters, Line, Tile, drawn, line
from galleries.imaging.drawing.stamp_text import StampText
from galleries.imaging.face.faces import Face, Point

Box = tuple[int, int, int, int]
Zone = tuple[Point, float]

LARGE, SMALL, ROW_GAP = 0.046, 0.024, 0.150  # letter size and distance of rows, in units
SLANT_DEG = (17.0, 31.0)  # either way
SIZE, GAP = (0.90, 1.12), (0.92, 1.06)  # of the above, by sitting
ON_FACE, ON_CHEST = 0.20, 0.32  # letter size of the pieces that go with the face, in eye distances
OWN_TURN_DEG, OWN_SIZE, OWN_MOVE = 0.5, 0.02, 0.0035  # a frame's own, either way; moves in units
_FACE_TURN_DEG, _FACE_MOVE = 0.7, 0.012  # moves in eye distances, along the eye line
_LONGEST = 0.62
_MOST = 32  # rows either way, and pieces of a row either way


def _box(centre: Point, width: int, height: int) -> Box:
    return round(centre[0] - width / 2), round(centre[1] - height / 2), width, height


def _seen(box: Box, frame_w: int, frame_h: int) -> bool:
    left, top, width, height = box
    return left < frame_w and top < frame_h and left + width > 0 and top + height > 0


@dataclass(frozen=True)
class Place:
    """Where a line goes, and by which chances of the frame it is drawn; `held`: it goes with a face or the middle."""

    line: Line
    centre: Point
    dice: str
    held: bool = False

    @property
    def half(self) -> Point:
        """Half its length and thickness."""
        return self.line.length / 2, self.line.thickness / 2

    @cached_property
    def box(self) -> Box:
        width, height = self.line.box
        return _box(self.centre, width, height)

    def seen_in(self, frame_w: int, frame_h: int) -> bool:
        return _seen(self.box, frame_w, frame_h)


@dataclass(frozen=True)
class Piece:
    """A line as it is drawn in a frame of `frame_w` × `frame_h` px."""

    place: Place
    letters: Letters
    frame_w: int
    frame_h: int

    def tiles(self) -> Iterator[Tile]:
        """Its ink that lies in the frame, placed there."""
        at_x, at_y = self.place.box[:2]
        for left, top, ink in self.letters.tiles:
            x, y = at_x + left, at_y + top
            right, bottom = min(self.frame_w, x + ink.shape[1]), min(self.frame_h, y + ink.shape[0])
            if right > max(0, x) and bottom > max(0, y):
                yield Tile(max(0, x), max(0, y), ink[max(0, -y) : bottom - y, max(0, -x) : right - x])

    @cached_property
    def inked(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Rows and columns of the frame where it has ink."""
        rows, columns = np.nonzero(self.letters.whole.any(axis=2))
        x, y = columns + self.place.box[0], rows + self.place.box[1]
        inside = (x >= 0) & (x < self.frame_w) & (y >= 0) & (y < self.frame_h)
        return y[inside], x[inside]

    @property
    def rows(self) -> NDArray[np.intp]:
        return self.inked[0]

    @property
    def columns(self) -> NDArray[np.intp]:
        return self.inked[1]


@dataclass(frozen=True)
class Rows:
    """The rows of one frame. `along`: each row's phase, 0..1 of its step."""

    slant_deg: float
    size: float
    gap: float
    shift: Point
    along: NDArray[np.float64]

    @classmethod
    def of(cls, text: StampText) -> Rows:
        shared, own = text.of_sitting("rows"), text.of_frame("rows")
        side = 1.0 if shared.random() < 0.5 else -1.0
        turn, size, *move = own.uniform(-1, 1, 4)
        return cls(
            side * shared.uniform(*SLANT_DEG) + OWN_TURN_DEG * turn,
            shared.uniform(*SIZE) * (1 + OWN_SIZE * size),
            ROW_GAP * shared.uniform(*GAP),
            (OWN_MOVE * move[0], shared.uniform(-0.5, 0.5) * ROW_GAP + OWN_MOVE * move[1]),
            shared.random(2 * _MOST + 1),
        )


def _row_places(frame_w: int, frame_h: int, text: StampText, zones: Sequence[Zone]) -> list[Place]:
    """Every line of the slanted rows that touches no zone. Rows are counted from the frame's middle."""
    unit = math.sqrt(frame_w * frame_h)
    rows = Rows.of(text)
    angle = math.radians(rows.slant_deg)
    large = line(text.line, max(8.0, LARGE * rows.size * unit), _LONGEST * unit, rows.slant_deg, text.logo)
    small = line(text.small_line, max(6.0, SMALL * rows.size * unit), 0.6 * _LONGEST * unit, rows.slant_deg)
    reach = math.hypot(frame_w, frame_h) / 2
    count = min(_MOST, math.ceil(reach / (rows.gap * unit)) + 1)
    places = []
    along, shift = rows.along.tolist(), (float(rows.shift[0]), float(rows.shift[1]))  # numpy's own numbers are slow
    for row in range(-count, count + 1):
        one = small if row % 2 else large
        step = one.length + 0.10 * unit
        most = min(_MOST, math.ceil(reach / step) + 1)
        for i in range(-most, most + 1):
            u = (i + along[row + _MOST]) * step + shift[0] * unit
            v = (row * rows.gap + shift[1]) * unit
            centre = (
                frame_w / 2 + math.cos(angle) * u - math.sin(angle) * v,
                frame_h / 2 + math.sin(angle) * u + math.cos(angle) * v,
            )
            if not _seen(_box(centre, *one.box), frame_w, frame_h):
                continue  # most of them
            place = Place(one, centre, "small" if row % 2 else "large")
            if not touches(centre, place.half, one.turn_deg, zones):
                places.append(place)
    return places


def clear_zones(face: Face) -> tuple[Zone, ...]:
    """Circles (centre, radius) that no piece may touch: both eyes with their brows, nose, mouth."""
    d = face.eye_distance
    middle = face.eye_middle
    nose = ((middle[0] + face.mouth[0]) / 2, (middle[1] + face.mouth[1]) / 2)
    return (
        (face.right_eye, 0.40 * d),
        (face.left_eye, 0.40 * d),
        (middle, 0.30 * d),
        (nose, 0.42 * d),
        (face.mouth, 0.46 * d),
    )


def touches(centre: Point, half: Point, turn_deg: float, zones: Sequence[Zone]) -> bool:
    """Whether a turned box of half length and thickness `half` comes into any circle."""
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    for (x, y), radius in zones:
        dx, dy = x - centre[0], y - centre[1]
        along, across = cos * dx + sin * dy, -sin * dx + cos * dy
        gap_x, gap_y = abs(along) - half[0], abs(across) - half[1]
        if math.hypot(max(0.0, gap_x), max(0.0, gap_y)) < radius:
            return True
    return False


def _face_places(
    frame_w: int, frame_h: int, face: Face, text: StampText, name: str, zones: Sequence[Zone]
) -> list[Place]:
    """The pieces that go with a face, along the eye line: between brows and hairline, on the chin, on the chest.

    The first two lie wholly inside the face box and the frame, the third inside the frame, shortened as far as that
    needs, or left out where there is no room or somebody else's face (`zones`) is. A crop that keeps the chin keeps
    the second, one that keeps the forehead the first; a wider crop, in which these two are small, keeps the third.
    """
    places = []
    d = face.eye_distance
    roll = math.radians(face.roll_deg)
    frame = (0.0, 0.0, float(frame_w), float(frame_h))
    wanted = (
        (-0.62, ON_FACE, (1.4, 1.15, 0.9), face.box),
        (1.62, ON_FACE, (0.9, 0.7), face.box),
        (2.9, ON_CHEST, (2.4, 1.8), frame),
    )
    for number, (across, letter, lengths, (x, y, w, h)) in enumerate(wanted):
        dice = f"{name} {number}"
        turn, move = text.of_frame(f"{dice} place").uniform(-1, 1, 2)
        for length in lengths:
            size, longest = max(5.0, letter * d), max(12.0, length * d)
            one = line(text.line, size, longest, face.roll_deg + _FACE_TURN_DEG * turn, text.logo)
            cx = face.eye_middle[0] - (math.sin(roll) * across - math.cos(roll) * _FACE_MOVE * move) * d
            cy = face.eye_middle[1] + (math.cos(roll) * across + math.sin(roll) * _FACE_MOVE * move) * d
            half_w, half_h = one.box[0] / 2 + 1, one.box[1] / 2 + 1
            low_x, high_x = max(x, 0.0) + half_w, min(x + w, frame_w) - half_w
            low_y, high_y = max(y, 0.0) + half_h, min(y + h, frame_h) - half_h
            if low_x > high_x or low_y > high_y:
                continue
            inside = min(max(cx, low_x), high_x), min(max(cy, low_y), high_y)
            if math.hypot(inside[0] - cx, inside[1] - cy) > 0.1 * d:
                continue
            place = Place(one, inside, dice, held=True)
            if not touches(inside, place.half, one.turn_deg, zones):
                places.append(place)
                break
    return places


def _middle_place(frame_w: int, frame_h: int, text: StampText) -> Place:
    """Where no face is known one small line crosses the middle: what is cut out of a frame mostly holds it."""
    unit, rows = math.sqrt(frame_w * frame_h), Rows.of(text)
    one = line(text.small_line, max(6.0, SMALL * rows.size * unit), 0.6 * _LONGEST * unit, rows.slant_deg)
    own = OWN_MOVE * text.of_frame("middle-place").uniform(-1, 1) * unit
    return Place(one, (frame_w / 2 + rows.shift[0] * unit, frame_h / 2 + own), "middle", held=True)


def places_of(frame_w: int, frame_h: int, faces: Sequence[Face], text: StampText) -> list[Place]:
    """Where every line of one frame goes, those held last. `faces`: everybody in it; their expressions stay free."""
    own = [] if faces else [_middle_place(frame_w, frame_h, text)]
    for number, face in enumerate(faces):
        others = [zone for other in faces if other is not face for zone in clear_zones(other)]
        own += _face_places(frame_w, frame_h, face, text, f"face {number}", others)
    own = [place for place in own if place.seen_in(frame_w, frame_h)]
    zones = [zone for face in faces for zone in clear_zones(face)]
    held = [(place.centre, place.half[0] * 0.8) for place in own]
    return [*_row_places(frame_w, frame_h, text, [*zones, *held]), *own]


def pieces_of(frame_w: int, frame_h: int, faces: Sequence[Face], text: StampText) -> list[Piece]:
    """All lines of one frame, drawn, in the order of `places_of`. Those of a row's kind are drawn once."""
    ink: dict[str, Letters] = {}
    pieces = []
    for place in places_of(frame_w, frame_h, faces, text):
        if place.dice not in ink:
            ink[place.dice] = drawn(place.line, text.of_frame(place.dice), patched=place.held)
        pieces.append(Piece(place, ink[place.dice], frame_w, frame_h))
    return pieces
