"""How a frame would look in the shapes of the delivery sizes, as fractions of the picture."""

from __future__ import annotations

from typing import Any

from galleries.imaging.face.reading import FrameReading
from galleries.imaging.framing import crops
from galleries.models import DeliverySize, Frame
from galleries.steps.delivering import sizes


def crop_shapes(frame: Frame, most: int = 6) -> list[dict[str, Any]]:
    """One proposal per shape of the sizes in use: {title, x, y, width, height, known} (known: by the face)."""
    reading = FrameReading.from_dict(frame.reading) if frame.reading else None
    width, height = (reading.width, reading.height) if reading else (frame.width, frame.height)
    face = reading.face if reading else None
    shapes: dict[tuple[int, int], dict[str, Any]] = {}
    for size in DeliverySize.objects.offered().order_by("-chosen_first", "position", "pk"):
        ratio = sizes.spec(size).ratio
        if ratio is None or (ratio.width, ratio.height) in shapes or len(shapes) == most:
            continue
        rect = crops.propose(width, height, face, ratio).rect
        shapes[(ratio.width, ratio.height)] = {
            "title": size.shown_title,
            "x": rect.x / width,
            "y": rect.y / height,
            "width": rect.width / width,
            "height": rect.height / height,
            "known": face is not None,
        }
    return list(shapes.values())
