"""The proof stamp: the studio's name and PROOF in slanted rows over the whole frame, the face's expression free.

Everything is measured in parts of the frame (unit: the square root of its area) or of the face, so the stamp
looks the same at any size. Rows of large and of small pieces alternate; a piece that would touch an eye, the nose
or the mouth is left out. Two more lie on the forehead and on the chin, in proportion to the face: a crop that
keeps the face keeps at least one, whatever its shape. Light letters with a dark edge show on any tone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.drawing.lettering import text_mask, writable
from galleries.imaging.drawing.logo import mask_of
from galleries.imaging.face.faces import Face, Point

Box = tuple[int, int, int, int]

SLANT_DEG = -24.0
LARGE, SMALL, ROW_GAP = 0.046, 0.024, 0.150  # letter size and distance of rows, in units
ON_FACE, ON_CHEST = 0.20, 0.32  # letter size of the pieces that go with the face, in eye distances
_LONGEST = 0.62
_LIGHT, _DARK = 0.40, 0.42  # opacity of letter and edge
_WORD = "PROOF"
_MOST_LETTERS = 48
_LOGO_HEIGHT = 1.5  # of the letters beside it
_DRAWN = 64  # letters are drawn at this size at least and shrunk: small type hinted by itself would run wider


@dataclass(frozen=True)
class StampText:
    """Whose proof it is, and optionally whom it was made for. `strength`: of the letters' opacity, 1 is usual.

    `logo`: a file of `logo.make_logo`, drawn in the large line instead of the studio's name.
    """

    studio: str
    label: str = ""
    strength: float = 1.0
    logo: bytes = b""

    @property
    def line(self) -> str:
        """The large line: studio and PROOF; only PROOF when the name cannot be drawn."""
        name = writable(self.studio)[:_MOST_LETTERS].strip()
        return f"{name} · {_WORD}" if name else _WORD

    @property
    def small_line(self) -> str:
        """The small line: PROOF, studio and label."""
        parts = [_WORD, writable(self.studio)[:_MOST_LETTERS], writable(self.label)[:_MOST_LETTERS]]
        return " · ".join(p.strip() for p in parts if p.strip())


@dataclass(frozen=True)
class _Letters:
    """One drawn piece, slanted: where its ink is, how much picture stays, and how much light is added."""

    width: int
    height: int
    rows: NDArray[np.int32]
    columns: NDArray[np.int32]
    keep: NDArray[np.uint16]  # 0..256
    add: NDArray[np.uint16]  # 0..255 × 256
    length: float  # of the unslanted text
    thickness: float


@dataclass(frozen=True)
class _Piece:
    box: Box
    centre: Point
    half: Point  # half length and thickness along the row
    index: NDArray[np.int64]
    keep: NDArray[np.uint16]
    add: NDArray[np.uint16]


@lru_cache(maxsize=2)
def _logo(logo: bytes) -> NDArray[np.uint8]:
    return mask_of(logo)


def _large_ink(text: StampText, drawn: int) -> NDArray[np.uint8]:
    """The large line: words, or the logo and PROOF beside it, the logo half as high again as a letter."""
    if not text.logo:
        return text_mask(text.line, drawn)
    word, logo = text_mask(_WORD, drawn), _logo(text.logo)
    height = max(word.shape[0], round(_LOGO_HEIGHT * drawn))
    width = max(1, round(logo.shape[1] * height / logo.shape[0]))
    drawing = cv2.resize(logo, (width, height), interpolation=cv2.INTER_AREA)
    ink = np.zeros((height, width + drawn // 2 + word.shape[1]), np.uint8)
    ink[:, :width] = drawing
    top = (height - word.shape[0]) // 2
    ink[top : top + word.shape[0], width + drawn // 2 :] = word
    return ink


def _letters(text: StampText, size: float, angle_deg: float, longest: float, *, small: bool = False) -> _Letters:
    """Draw a line at `size`, smaller where it would be longer than `longest`, turned clockwise by angle_deg."""
    drawn = max(_DRAWN, math.ceil(size))
    ink = text_mask(text.small_line, drawn) if small else _large_ink(text, drawn)
    edge = max(1, round(drawn / 14))
    factor = min(size / drawn, longest / ink.shape[1])
    ink = np.pad(ink, 2 * edge)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * edge + 1, 2 * edge + 1))
    halo = cv2.GaussianBlur(cv2.dilate(ink, brush), (0, 0), edge / 3)
    both = np.asarray(np.dstack([ink, np.maximum(halo, ink) - ink]), np.float32) / np.float32(255)
    shape = (max(1, round(ink.shape[1] * factor)), max(1, round(ink.shape[0] * factor)))
    both = np.asarray(cv2.resize(both, shape, interpolation=cv2.INTER_AREA), np.float32)
    w, h = shape
    matrix = cv2.getRotationMatrix2D((w / 2, h / 2), -angle_deg, 1.0)
    cos, sin = abs(matrix[0, 0]), abs(matrix[0, 1])
    out_w, out_h = int(w * cos + h * sin) + 2, int(w * sin + h * cos) + 2
    matrix[:, 2] += ((out_w - w) / 2, (out_h - h) / 2)
    turned = cv2.warpAffine(both, matrix, (out_w, out_h), flags=cv2.INTER_LINEAR)
    light, dark = turned[:, :, 0] * (_LIGHT * text.strength), turned[:, :, 1] * (_DARK * text.strength)
    rows, columns = np.nonzero(light + dark > 0.01)
    keep = np.rint(256 * (1 - light - dark)[rows, columns]).astype(np.uint16)
    add = np.rint(255 * 256 * light[rows, columns]).astype(np.uint16)
    return _Letters(out_w, out_h, rows.astype(np.int32), columns.astype(np.int32), keep, add, w, h)


def _piece(letters: _Letters, centre: Point, frame_w: int, frame_h: int) -> _Piece | None:
    """Put letters into the frame; None when nothing of them lies inside."""
    left, top = round(centre[0] - letters.width / 2), round(centre[1] - letters.height / 2)
    x, y = letters.columns + left, letters.rows + top
    inside = (x >= 0) & (x < frame_w) & (y >= 0) & (y < frame_h)
    if not inside.any():
        return None
    keep, add = letters.keep, letters.add
    if not inside.all():
        x, y, keep, add = x[inside], y[inside], keep[inside], add[inside]
    index = y.astype(np.int64) * frame_w + x
    return _Piece(
        (left, top, letters.width, letters.height),
        centre, (letters.length / 2, letters.thickness / 2), index, keep, add,
    )  # fmt: skip


@lru_cache(maxsize=6)
def _rows(frame_w: int, frame_h: int, text: StampText) -> tuple[_Piece, ...]:
    """Every piece of the slanted rows. Rows run along SLANT_DEG, counted from the frame's middle."""
    unit = math.sqrt(frame_w * frame_h)
    angle = math.radians(SLANT_DEG)
    large = _letters(text, max(8.0, LARGE * unit), SLANT_DEG, _LONGEST * unit)
    small = _letters(text, max(6.0, SMALL * unit), SLANT_DEG, 0.6 * _LONGEST * unit, small=True)
    reach = math.hypot(frame_w, frame_h) / 2
    count = math.ceil(reach / (ROW_GAP * unit))
    pieces = []
    for row in range(-count, count + 1):
        letters = small if row % 2 else large
        step = letters.length + 0.10 * unit
        shift = (row // 2 % 2) * step / 2
        along = math.ceil(reach / step) + 1
        for i in range(-along, along + 1):
            u, v = i * step + shift, row * ROW_GAP * unit
            centre = (
                frame_w / 2 + math.cos(angle) * u - math.sin(angle) * v,
                frame_h / 2 + math.sin(angle) * u + math.cos(angle) * v,
            )
            piece = _piece(letters, centre, frame_w, frame_h)
            if piece is not None:
                pieces.append(piece)
    return tuple(pieces)


def clear_zones(face: Face) -> tuple[tuple[Point, float], ...]:
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


def _touches(piece: _Piece, zones: tuple[tuple[Point, float], ...]) -> bool:
    angle = math.radians(SLANT_DEG)
    cos, sin = math.cos(angle), math.sin(angle)
    for (x, y), radius in zones:
        dx, dy = x - piece.centre[0], y - piece.centre[1]
        along, across = cos * dx + sin * dy, -sin * dx + cos * dy
        gap_x, gap_y = abs(along) - piece.half[0], abs(across) - piece.half[1]
        if math.hypot(max(0.0, gap_x), max(0.0, gap_y)) < radius:
            return True
    return False


@lru_cache(maxsize=64)
def _face_letters(text: StampText, size: int, longest: int, angle_deg: int) -> _Letters:
    return _letters(text, size, angle_deg, longest)


def _face_pieces(frame_w: int, frame_h: int, face: Face, text: StampText) -> list[_Piece]:
    """The pieces that go with the face, along the eye line: between brows and hairline, on the chin, on the chest.

    The first two lie wholly inside the face box and the frame, the third inside the frame, shortened as far as that
    needs, or left out where there is no room. A crop that keeps the chin keeps the second, one that keeps the
    forehead the first; a wider crop, in which these two are small, keeps the third.
    """
    pieces = []
    d = face.eye_distance
    roll = math.radians(face.roll_deg)
    frame = (0.0, 0.0, float(frame_w), float(frame_h))
    places = (
        (-0.62, ON_FACE, (1.4, 1.15, 0.9), face.box),
        (1.62, ON_FACE, (0.9, 0.7), face.box),
        (2.9, ON_CHEST, (2.4, 1.8), frame),
    )
    for across, letter, lengths, (x, y, w, h) in places:
        for length in lengths:
            size = max(5, round(letter * d))
            letters = _face_letters(text, size, max(12, round(length * d)), round(face.roll_deg))
            cx = face.eye_middle[0] - math.sin(roll) * across * d
            cy = face.eye_middle[1] + math.cos(roll) * across * d
            half_w, half_h = letters.width / 2 + 1, letters.height / 2 + 1
            low_x, high_x = max(x, 0.0) + half_w, min(x + w, frame_w) - half_w
            low_y, high_y = max(y, 0.0) + half_h, min(y + h, frame_h) - half_h
            if low_x > high_x or low_y > high_y:
                continue
            inside = min(max(cx, low_x), high_x), min(max(cy, low_y), high_y)
            if math.hypot(inside[0] - cx, inside[1] - cy) <= 0.1 * d:
                pieces.append(_piece(letters, inside, frame_w, frame_h))
                break
    return [piece for piece in pieces if piece is not None]


def _pieces(frame_w: int, frame_h: int, face: Face | None, text: StampText) -> list[_Piece]:
    rows = _rows(frame_w, frame_h, text)
    if face is None:
        return list(rows)
    zones = clear_zones(face)
    own = _face_pieces(frame_w, frame_h, face, text)
    zones = (*zones, *((piece.centre, piece.half[0] * 0.8) for piece in own))
    return [*(piece for piece in rows if not _touches(piece, zones)), *own]


def stamp(rgb: Pixels, text: StampText, face: Face | None) -> Pixels:
    """A stamped copy of an sRGB picture, uint8 (height, width, 3); `face` in its pixels, None when none is known.

    Raises ValueError for another shape or type.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8:
        raise ValueError(f"stamp wants uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}.")
    height, width = rgb.shape[:2]
    out = np.array(rgb, order="C", copy=True)
    whole = out.view("V3").reshape(-1)  # a pixel as one thing: taking and putting it is several times faster
    for piece in _pieces(width, height, face, text):
        values = whole.take(piece.index).view(np.uint8).reshape(-1, 3).astype(np.uint16)
        values *= piece.keep[:, None]
        values += piece.add[:, None]
        values >>= 8
        np.put(whole, piece.index, values.astype(np.uint8).view("V3"))
    return out


def stamp_boxes(width: int, height: int, face: Face | None, text: StampText) -> list[Box]:
    """Boxes (x, y, width, height) of the whole pieces drawn; a piece cut by the frame's edge is not among them."""
    return [
        piece.box
        for piece in _pieces(width, height, face, text)
        if piece.box[0] >= 0
        and piece.box[1] >= 0
        and piece.box[0] + piece.box[2] <= width
        and piece.box[1] + piece.box[3] <= height
    ]
