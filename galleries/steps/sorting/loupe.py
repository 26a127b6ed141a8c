"""The photographer's loupe: the eyes of a frame at 100 %, cut from the original and kept in the private store.

Of a raw file whose own picture is smaller than its sensor, 100 % means the sensor's pixels. Developing them takes
seconds, so the worker does it, once and when somebody asks; until then a smaller picture of the same place stands.
"""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path

from django.utils.translation import gettext as _

from galleries import storage
from galleries.errors import Missing
from galleries.imaging.contained import door
from galleries.imaging.face.places import from_corner
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing.cut_order import CutOrder
from galleries.imaging.framing.geometry import Rect
from galleries.imaging.framing.sizes import SizeSpec
from galleries.models import Frame, Job
from galleries.steps import derived, jobs
from galleries.steps.limits import limits

WIDTH, HEIGHT = 1400, 900  # pixels of the original; enough for both eyes of a tight frame on a desktop screen
# Of the sensor's sides: a camera's own picture often lacks a few rows and columns at the edge.
_AS_LARGE = 0.95
_NATIVE = SizeSpec("loupe", "Loupe", "full", 0, 0, quality=90)


def eyes(frame: Frame) -> bytes:
    """A JPEG of the region round the eyes, pixel for pixel as the camera gave it; the middle when no face is known.
    Fewer pixels where `pixels` says so.

    Raises:
        ImagingError: the original cannot be decoded.
    """

    kept = _kept(frame)
    if from_sensor(frame) and not kept.store.exists(kept.key):
        return _smaller(frame)

    def cut_out() -> bytes:
        with storage.at_hand(storage.private(), frame.key) as original:
            return _cut(original, region(frame))

    return kept.fetched(cut_out)


def from_sensor(frame: Frame) -> bool:
    """Does 100 % have to be developed from the sensor's data, since the picture shown is smaller?"""
    return is_smaller(frame.shown, (frame.width, frame.height), (frame.sensor_width, frame.sensor_height))


def is_smaller(shown: str, size: tuple[int, int], sensor: tuple[int, int]) -> bool:
    """As `from_sensor`, of the frame's columns."""
    if shown == Frame.Shown.FILE:
        return False
    return shown == Frame.Shown.SENSOR or max(size) < _AS_LARGE * max(sensor)


class Pixels(StrEnum):
    """What `eyes` gives now: the pixels of 100 %, or fewer."""

    SHARP = "sharp"
    COMING = "coming"  # fewer, while the worker develops the others
    FAILED = "failed"  # fewer, since they could not be developed


def pixels(frame: Frame) -> Pixels:
    """What `eyes` gives now; where the sensor is still to be developed, the worker is asked for it.

    Raises:
        Missing: the frame was not read yet.
    """
    kept = _kept(frame)
    if not from_sensor(frame) or kept.store.exists(kept.key):
        return Pixels.SHARP
    _reading(frame)  # where to look is known
    job = Job.objects.filter(kind="develop", thing=frame.pk).first()
    if job is not None and job.state == Job.State.FAILED:
        return Pixels.FAILED
    if job is None or job.state == Job.State.DONE:  # done once, and cleared away since
        jobs.enqueue("develop", frame.pk, frame.sitting, again=True)
    return Pixels.COMING


def develop(frame_id: int) -> None:
    """The job: the sensor developed in full, and of it the region round the eyes kept. Again is harmless.

    Raises:
        ImagingError: the file cannot be developed; the sentence goes into the job's row.
    """
    frame = Frame.objects.select_related("sitting").filter(pk=frame_id).first()
    if frame is None or not from_sensor(frame):
        return  # removed meanwhile, or its own picture came

    def developed() -> bytes:
        with storage.at_hand(storage.private(), frame.key) as original:
            return door.cut_sensor(original, region(frame), limits())

    _kept(frame).kept(developed)


def _kept(frame: Frame) -> derived.Derived:
    return derived.place(frame.sitting, "loupe", frame.sha256)


def _smaller(frame: Frame) -> bytes:
    """The same place out of the rendition that the desk shows."""
    view = storage.get(*derived.view(frame.sitting, frame.key, frame.sha256))
    facts = door.probe(view, limits())
    factor = facts.width / (frame.width * _scale(frame))
    return _cut(view, region(frame).scaled(factor).clamp_to(facts.width, facts.height))


def _cut(picture: bytes | Path, rect: Rect) -> bytes:
    return door.make_finals(picture, [CutOrder(_NATIVE, rect)], limits())[0].data


def _scale(frame: Frame) -> float:
    """Pixels at 100 % to one of the picture that was read."""
    return frame.sensor_width / frame.width if from_sensor(frame) else 1.0


def pupils(frame: Frame) -> list[tuple[float, float]]:
    """Where the pupils lie in what the loupe shows, as fractions of its width and height, the left one on the picture
    first; none when no face is known.

    Raises:
        Missing: the frame was not read yet.
    """
    reading, scale = _reading(frame), _scale(frame)
    if reading.face is None:
        return []
    shown = _region(reading, scale)
    eyes = [from_corner(point) for point in (reading.face.right_eye, reading.face.left_eye)]
    points = [(x * scale, y * scale) for x, y in eyes]
    return sorted((round((x - shown.x) / shown.width, 4), round((y - shown.y) / shown.height, 4)) for x, y in points)


def region(frame: Frame) -> Rect:
    """Where the loupe looks, in pixels at 100 %: of the upright frame, or of the sensor where those are looked at.

    Raises:
        Missing: the frame was not read yet.
    """
    return _region(_reading(frame), _scale(frame))


def _region(reading: FrameReading, scale: float) -> Rect:
    full = (round(reading.width * scale), round(reading.height * scale))
    x, y = reading.face.eye_middle if reading.face else (reading.width / 2, reading.height / 3)
    middle = (x * scale, y * scale)
    wide = WIDTH if reading.face is None else max(WIDTH, round(1.7 * scale * reading.face.eye_distance))
    high = max(HEIGHT, wide * HEIGHT // WIDTH)
    wanted = Rect(round(middle[0] - wide / 2), round(middle[1] - high / 2), wide, high)
    return wanted.clamp_to(*full)


def _reading(frame: Frame) -> FrameReading:
    if not frame.reading:
        raise Missing(_("The frame is still being read; look again in a moment."))
    return FrameReading.from_dict(frame.reading)
