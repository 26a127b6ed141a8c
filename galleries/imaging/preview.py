"""Crops shown small before anything is exported: one by one for the editor, all together on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.colour import convert
from galleries.imaging.drawing import border
from galleries.imaging.drawing.lettering import text_mask
from galleries.imaging.errors import ImagingError
from galleries.imaging.face.faces import Face
from galleries.imaging.framing.cut_order import CutOrder, check_order
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.opening.decode import open_picture
from galleries.imaging.opening.picture import DEFAULT_LIMITS, Limits
from galleries.imaging.output import encode, resize, softproof
from galleries.told import Told

if TYPE_CHECKING:
    from galleries.imaging.drawing.stamp import StampText

GROUND, INK = 58, 214  # neutral surround, light lettering
_QUALITY = 84


@dataclass(frozen=True)
class SheetPicture:
    """One cell of the sheet: JPEG bytes, and what stands under it."""

    data: bytes
    label: str


def cut_small(
    source: bytes | Path,
    orders: Sequence[CutOrder],
    long_side: int,
    limits: Limits = DEFAULT_LIMITS,
    *,
    name: str = "",
) -> list[bytes]:
    """Each order as an sRGB JPEG of at most `long_side`, border and name strip included, from one reduced decode.

    Never enlarged beyond the crop's own pixels. Raises as `recipes.make_finals`.
    """
    smallest = min((max(order.crop.width, order.crop.height) for order in orders), default=1)
    widest = max((max(order.crop.right, order.crop.bottom) for order in orders), default=1)
    picture = open_picture(source, limits, at_least=min(60_000, -(-widest * long_side // smallest)))
    facts = picture.facts
    return [
        _small(picture.pixels, picture.profile, order, (facts.width, facts.height), long_side, name) for order in orders
    ]


def _small(
    pixels: NDArray[Any], icc: bytes, order: CutOrder, frame: tuple[int, int], long_side: int, name: str
) -> bytes:
    check_order(order, *frame)
    h, w = pixels.shape[:2]
    rect = order.crop.scaled(w / frame[0])
    rect = Rect(rect.x, rect.y, min(rect.width, w), min(rect.height, h)).clamp_to(w, h)
    if order.tilt_deg:
        part = resize.cut_turned(pixels, rect, order.tilt_deg)
    else:
        part = pixels[rect.y : rect.bottom, rect.x : rect.right]
    size = order.size
    width, height = resize.fit_within(*order.out_size, long_side)
    small = convert.between_profiles(
        resize.resize_to(np.ascontiguousarray(part), width, height), icc, convert.srgb_profile(), 8
    )
    if order.monochrome:
        small = convert.to_monochrome(small, convert.srgb_profile())
    try:
        small = border.draw(small, size, name, width / order.out_size[0])
    except ImagingError:  # too small for the letters here; the export itself says so where it matters
        small = border.draw(small, size, "", width / order.out_size[0])
    return encode.encode_jpeg(np.ascontiguousarray(small), quality=_QUALITY, subsampling="444")


def paper_view(jpeg: bytes, icc: bytes) -> tuple[bytes, Told | None]:
    """A preview as a lab's paper will show it, and the warning about colours out of reach (None: nothing to say)."""
    seen = softproof.on_paper(_pixels(jpeg), icc)
    return encode.encode_jpeg(seen.rgb, quality=_QUALITY, subsampling="444"), seen.warning


def _pixels(jpeg: bytes) -> NDArray[np.uint8]:
    bgr = cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)
    return np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8)


def contact_sheet(cells: Sequence[SheetPicture], columns: int, *, cell: int = 280, gap: int = 24) -> bytes:
    """All pictures in rows of `columns` on a neutral ground, each with its label."""
    line = 20
    rows = -(-len(cells) // columns)
    pitch_x, pitch_y = cell + gap, cell + line + gap
    out = np.full((rows * pitch_y + gap, columns * pitch_x + gap, 3), GROUND, np.uint8)
    for index, item in enumerate(cells):
        left, top = gap + index % columns * pitch_x, gap + index // columns * pitch_y
        picture = _pixels(item.data)
        h, w = picture.shape[:2]
        y, x = top + (cell - h), left + (cell - w) // 2
        out[y : y + h, x : x + w] = picture
        _label(out, item.label, left, top + cell + 5, cell)
    return encode.encode_jpeg(out, quality=_QUALITY, subsampling="444")


def _label(out: NDArray[np.uint8], text: str, left: int, top: int, room: int) -> None:
    ink = text_mask(text, 12)
    if ink.shape[1] > room:
        ink = np.asarray(cv2.resize(ink, (room, ink.shape[0]), interpolation=cv2.INTER_AREA), np.uint8)
    h, w = ink.shape
    part = out[top : top + h, left : left + w].astype(np.float32)
    alpha = (ink[: part.shape[0], : part.shape[1], None] / 255).astype(np.float32)
    out[top : top + h, left : left + w] = np.rint(part * (1 - alpha) + INK * alpha).astype(np.uint8)


SAMPLE_SIZE = (480, 600)


def stamp_sample(text: StampText) -> bytes:
    """A JPEG of the stamp over a head and shoulders drawn in greys, from near white to near black: nobody's picture."""
    from galleries.imaging.drawing import stamp

    width, height = SAMPLE_SIZE
    pixels = np.repeat(np.linspace(205, 60, height, dtype=np.uint8)[:, None, None], width, 1).repeat(3, 2).copy()
    face = _sample_face()
    (x, y), d = face.eye_middle, face.eye_distance
    cv2.ellipse(pixels, (round(x), round(y + 4.6 * d)), (round(2.4 * d), round(2.3 * d)), 0, 0, 360, (38,) * 3, -1)
    cv2.ellipse(pixels, (round(x), round(y - 0.1 * d)), (round(1.35 * d), round(1.75 * d)), 0, 0, 360, (52,) * 3, -1)
    cv2.ellipse(pixels, (round(x), round(y + 0.3 * d)), (round(1.05 * d), round(1.45 * d)), 0, 0, 360, (188,) * 3, -1)
    for eye in (face.right_eye, face.left_eye):
        cv2.ellipse(pixels, (round(eye[0]), round(eye[1])), (round(0.2 * d), round(0.08 * d)), 0, 0, 360, (40,) * 3, -1)
    mouth = (round(face.mouth[0]), round(face.mouth[1]))
    cv2.ellipse(pixels, mouth, (round(0.3 * d), round(0.06 * d)), 0, 0, 360, (96,) * 3, -1)
    return encode.encode_jpeg(stamp.stamp(pixels, text, [face]), quality=_QUALITY)


def _sample_face() -> Face:
    """Where the drawn head has what the stamp leaves free: eyes 84 px apart, the rest by usual proportions."""
    (width, height), d = SAMPLE_SIZE, 84.0
    x, y = width / 2, height * 0.4
    return Face(
        box=(x - 0.95 * d, y - 0.8 * d, 1.9 * d, 2.5 * d), right_eye=(x - d / 2, y), left_eye=(x + d / 2, y),
        right_openness=None, left_openness=None, iris_radius_right=0.09 * d, iris_radius_left=0.09 * d, roll_deg=0.0,
        crown_y=y - 1.85 * d, crown_uncertainty=0.0, crown_measured=False, chin=(x, y + 1.75 * d),
        forehead=(x, y - 0.8 * d), mouth=(x, y + 1.05 * d), yaw_hint=0.0, score=1.0,
    )  # fmt: skip
