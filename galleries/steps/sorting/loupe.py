"""The photographer's loupe: the eyes of a frame at 100 %, cut from the original and kept in the private store."""

from __future__ import annotations

from django.utils.translation import gettext as _

from galleries import storage
from galleries.errors import Missing
from galleries.imaging.contained import door
from galleries.imaging.face.places import from_corner
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Frame
from galleries.steps import derived
from galleries.steps.limits import limits

WIDTH, HEIGHT = 1400, 900  # pixels of the original; enough for both eyes of a tight frame on a desktop screen
_NATIVE = SizeSpec("loupe", "Loupe", "full", 0, 0, quality=90)


def eyes(frame: Frame) -> bytes:
    """A JPEG of the region round the eyes, pixel for pixel as the camera gave it; the middle when no face is known.

    Raises:
        ImagingError: the original cannot be decoded.
    """

    def cut_out() -> bytes:
        with storage.at_hand(storage.private(), frame.key) as original:
            return door.make_finals(original, [CutOrder(_NATIVE, region(frame))], limits())[0].data

    return derived.place(frame.sitting, "loupe", frame.sha256).fetched(cut_out)


def pupils(frame: Frame) -> list[tuple[float, float]]:
    """Where the pupils lie in what the loupe shows, as fractions of its width and height, the left one on the picture
    first; none when no face is known.

    Raises:
        Missing: the frame was not read yet.
    """
    reading = _reading(frame)
    if reading.face is None:
        return []
    shown = _region(reading)
    points = [from_corner(point) for point in (reading.face.right_eye, reading.face.left_eye)]
    return sorted((round((x - shown.x) / shown.width, 4), round((y - shown.y) / shown.height, 4)) for x, y in points)


def region(frame: Frame) -> Rect:
    """Where the loupe looks, in pixels of the upright frame.

    Raises:
        Missing: the frame was not read yet.
    """
    return _region(_reading(frame))


def _region(reading: FrameReading) -> Rect:
    full = (reading.width, reading.height)
    middle = reading.face.eye_middle if reading.face else (full[0] / 2, full[1] / 3)
    wide = WIDTH if reading.face is None else max(WIDTH, round(1.7 * reading.face.eye_distance))
    high = max(HEIGHT, wide * HEIGHT // WIDTH)
    wanted = Rect(round(middle[0] - wide / 2), round(middle[1] - high / 2), wide, high)
    return wanted.clamp_to(*full)


def _reading(frame: Frame) -> FrameReading:
    if not frame.reading:
        raise Missing(_("The frame is still being read; look again in a moment."))
    return FrameReading.from_dict(frame.reading)
