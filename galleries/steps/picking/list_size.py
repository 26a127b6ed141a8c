"""Frames as a casting list shows them: the crop of a casting size, what carries in it, how different two are."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from django.core.cache import cache

from galleries import storage
from galleries.imaging.comparing.list_size import Carried, Cropped, Difference, carried
from galleries.imaging.contained import door
from galleries.imaging.errors import ImagingError
from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing import crops
from galleries.imaging.framing.geometry import Ratio, Rect
from galleries.models import DeliverySize, Frame
from galleries.steps import derived
from galleries.steps.delivering import sizes
from galleries.steps.ingesting import proof

log = logging.getLogger(__name__)
MOST_COMPARED = 10  # 45 pairs: half a second of one core, then kept for a day
MOST_MADE = 3  # pictures of older frames made anew for one answer
KEPT_SECONDS = 24 * 3600
UPRIGHT = Ratio(4, 5)  # where the studio offers no casting size; common practice, no source


class Shape(NamedTuple):
    """A casting size's shape; `slug` names it in an address."""

    slug: str
    title: str
    ratio: Ratio


def casting_shapes() -> list[Shape]:
    """The shapes of the casting sizes in use, each once, the studio's usual ones first."""
    shapes: dict[Ratio, Shape] = {}
    offered = DeliverySize.objects.offered().filter(use=DeliverySize.Use.CASTING)
    for size in offered.order_by("-chosen_first", "position", "pk"):
        ratio = sizes.spec(size).ratio
        if ratio is not None:
            shapes.setdefault(ratio, Shape(size.slug, size.title, ratio))
    return list(shapes.values()) or [Shape("", "4:5", UPRIGHT)]


@dataclass(frozen=True)
class ListCrop:
    """The crop that the program proposes for a frame, as shares of the picture's sides (left, top, width, height), and
    what carries in it: None where no face was read."""

    part: tuple[float, float, float, float]
    carries: Carried | None


def list_crop(frame: Frame, ratio: Ratio) -> ListCrop:
    reading = FrameReading.from_dict(frame.reading) if frame.reading else None
    width, height = (reading.width, reading.height) if reading else (frame.width, frame.height)
    rect = crops.propose(width, height, reading.face if reading else None, ratio).rect
    return ListCrop(_shares(rect, width, height), carried(reading, rect) if reading else None)


def _shares(rect: Rect, width: int, height: int) -> tuple[float, float, float, float]:
    return rect.x / width, rect.y / height, rect.width / width, rect.height / height


class Pair(NamedTuple):
    """Two frames by their keys, and how different they are."""

    one: int
    other: int
    difference: Difference


def compared(frames: Sequence[tuple[Frame, ListCrop]]) -> list[Pair]:
    """Every two of the first `MOST_COMPARED` frames, measured without the stamp; of frames whose small picture has to
    be made anew a few are left for the next time, and one that cannot be read is left out. Only numbers leave here."""
    usable = _at_hand(frames[:MOST_COMPARED])
    if len(usable) < 2:
        return []
    key = f"list-size:{_digest(usable)}"
    told = _kept(key)
    if told is None:
        told = door.differences([Cropped(_bytes(frame), crop.part) for frame, crop in usable])
        _keep(key, told)
    return [Pair(usable[one.one][0].pk, usable[one.other][0].pk, one) for one in told]


def _at_hand(frames: Sequence[tuple[Frame, ListCrop]]) -> list[tuple[Frame, ListCrop]]:
    usable, missing = [], 0
    for frame, crop in frames:
        place = derived.view_place(frame.sitting, frame.sha256, derived.DESK_SIDE)
        if not place.store.exists(place.key):
            missing += 1
            if missing > MOST_MADE or not _drawn_anew(frame):
                continue
        usable.append((frame, crop))
    return usable


def _drawn_anew(frame: Frame) -> bool:
    try:
        proof.view(frame, derived.DESK_SIDE)
    except (ImagingError, FileNotFoundError):
        return False
    return True


def _bytes(frame: Frame) -> bytes:
    return storage.get(*derived.view_place(frame.sitting, frame.sha256, derived.DESK_SIDE))


def _digest(frames: Sequence[tuple[Frame, ListCrop]]) -> str:
    text = derived.described(of=[[frame.sha256, *crop.part] for frame, crop in frames])
    return hashlib.sha256(text.encode()).hexdigest()


def _kept(key: str) -> list[Difference] | None:
    try:
        rows = cache.get(key)
        return None if rows is None else [Difference(*row) for row in rows]
    except Exception as error:  # noqa: BLE001 - without the cache it is measured anew
        log.warning("Differences are not kept: %s", error)
        return None


def _keep(key: str, told: Sequence[Difference]) -> None:
    rows = [(one.one, one.other, one.colour, one.likeness) for one in told]
    try:
        cache.set(key, rows, KEPT_SECONDS)
    except Exception as error:  # noqa: BLE001 - as above
        log.warning("Differences are not kept: %s", error)
