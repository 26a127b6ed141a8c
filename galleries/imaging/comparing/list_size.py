"""What of a headshot carries where it is first met: as small as a stamp, in a list of others.

Shares and contrasts come from a frame's stored reading; the difference of two pictures is measured on their crops at
64 px across. None of it says which picture is better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.colour.difference import ciede2000, contrast_ratio, luminance_of
from galleries.imaging.face import tones
from galleries.imaging.face.models import shrunk
from galleries.imaging.face.places import from_corner
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.geometry import Rect

WIDTHS = (60, 90, 120, 160)  # CSS px of a picture in a casting list: common practice, no source
ACROSS = 64  # px at which pictures are compared
WHITE, DARK = 100.0, 9.3  # L* of a white page and of a dark one (#1a1a1a)
# Nearly the same exposures of painted sittings lie 0.8 to 1.9 apart (likeness 0.91 to 0.98), two expressions of one
# look 3.1 to 8.6 (0.44 to 0.81), two looks 8.3 to 11.4.
ALIKE_COLOUR, ALIKE_LIKENESS = 2.5, 0.86
SEEN = 3.0  # contrast that WCAG 2.2 (1.4.11) asks of a shape that has to be seen


@dataclass(frozen=True)
class Carried:
    """Of one crop. Shares are 0 to 1: the head's height (crown to chin) and the face's area of the crop's, the
    distance between the pupils of its width. Contrasts are ratios of WCAG (1 to 21), None where the reading does not
    know the colour; `face_from_backdrop` is the CIEDE2000 of skin and backdrop."""

    head_share: float
    face_share: float
    eyes_share: float
    face_to_backdrop: float | None
    face_from_backdrop: float | None
    backdrop_to_white: float | None
    backdrop_to_dark: float | None


def carried(reading: FrameReading, crop: Rect) -> Carried | None:
    """What carries of `crop`, in the pixels that the reading counts in; None when no face was found."""
    face = reading.face
    if face is None:
        return None
    top, bottom = (min(max(from_corner((0.0, y))[1], crop.y), crop.bottom) for y in (face.crown_y, face.menton[1]))
    skin = None if reading.face_l is None else (reading.face_l, *(reading.skin_ab or (0.0, 0.0)))
    behind = reading.backdrop_lab
    if behind is not None and reading.monochrome:
        behind = (behind[0], 0.0, 0.0)
    return Carried(
        head_share=max(0.0, bottom - top) / crop.height,
        face_share=_area(face.oval, crop) / (crop.width * crop.height),
        eyes_share=abs(face.left_eye[0] - face.right_eye[0]) / crop.width,
        face_to_backdrop=_contrast(skin[0], behind[0]) if skin and behind else None,
        face_from_backdrop=float(ciede2000(skin, behind)) if skin and behind else None,
        backdrop_to_white=_contrast(behind[0], WHITE) if behind else None,
        backdrop_to_dark=_contrast(behind[0], DARK) if behind else None,
    )


def _contrast(one: float, other: float) -> float:
    return contrast_ratio(luminance_of(one), luminance_of(other))


def _area(outline: Sequence[tuple[float, float]], crop: Rect) -> float:
    """Of the polygon, clipped to the crop's sides, in pixels (by the shoelace formula)."""
    if len(outline) < 3:
        return 0.0
    points = np.array([from_corner(point) for point in outline])
    x, y = np.clip(points[:, 0], crop.x, crop.right), np.clip(points[:, 1], crop.y, crop.bottom)
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2


@dataclass(frozen=True)
class Difference:
    """Of two pictures (their places in what was given): the mean CIEDE2000 of their pixels, and the structural
    similarity of their lightness, 1 for the same picture (Wang, Bovik, Sheikh, Simoncelli, 'Image quality assessment',
    IEEE Transactions on Image Processing 13(4), 2004: Gaussian window of 11 px, sigma 1.5)."""

    one: int
    other: int
    colour: float
    likeness: float

    @property
    def alike(self) -> bool:
        """Hard to tell apart at this size."""
        return self.colour < ALIKE_COLOUR and self.likeness > ALIKE_LIKENESS


@dataclass(frozen=True)
class Cropped:
    """A JPEG and the part of it to look at: left, top, width, height in shares of its sides."""

    data: bytes
    part: tuple[float, float, float, float]


def differences(pictures: Sequence[Cropped]) -> list[Difference]:
    """Of every two of the pictures, whose parts have one shape, at `ACROSS` px."""
    labs = [tones.to_lab(at_list_size(one)) for one in pictures]
    return [
        Difference(
            i,
            j,
            round(float(ciede2000(labs[i], labs[j]).mean()), 2),
            round(likeness(labs[i][..., 0], labs[j][..., 0]), 3),
        )
        for i, j in combinations(range(len(labs)), 2)
        if labs[i].shape == labs[j].shape
    ]


def at_list_size(picture: Cropped) -> Pixels:
    """The part, `ACROSS` px wide, sRGB uint8. Raises ValueError for what is no picture."""
    bgr = cv2.imdecode(np.frombuffer(picture.data, np.uint8), cv2.IMREAD_COLOR)
    if bgr is None:
        raise ValueError("A picture to compare cannot be decoded.")
    height, width = bgr.shape[:2]
    left, top, wide, high = picture.part
    x, y = round(left * width), round(top * height)
    right, bottom = max(x + 1, round((left + wide) * width)), max(y + 1, round((top + high) * height))
    part = np.asarray(bgr[y:bottom, x:right, ::-1], np.uint8)
    return shrunk(np.ascontiguousarray(part), ACROSS, max(1, round(ACROSS * (high * height) / (wide * width))))


def likeness(one: Floats, other: Floats) -> float:
    """Structural similarity of two lightnesses (h, w) of 0 to 100, see `Difference`."""

    def mean(values: Floats) -> Floats:
        return np.asarray(cv2.GaussianBlur(values, (11, 11), 1.5, borderType=cv2.BORDER_REFLECT))

    a, b = one.astype(np.float64), other.astype(np.float64)
    c1, c2 = (0.01 * 100) ** 2, (0.03 * 100) ** 2
    ma, mb = mean(a), mean(b)
    va, vb, both = mean(a * a) - ma * ma, mean(b * b) - mb * mb, mean(a * b) - ma * mb
    similar = (2 * ma * mb + c1) * (2 * both + c2) / ((ma * ma + mb * mb + c1) * (va + vb + c2))
    return float(similar.mean())
