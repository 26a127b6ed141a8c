"""How a frame would look in the shapes of the delivery sizes, as fractions of the picture."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import msgspec
from django.db.models import QuerySet
from django.utils.translation import gettext

from galleries.models import DeliverySize
from galleries.models.compiled import Compiled
from galleries.steps.delivering import sizes


def _offered() -> QuerySet[Any, Any]:
    rows = DeliverySize.objects.offered().order_by("-chosen_first", "position", "pk")
    return rows.values_list(*sizes.OF_SPEC)


_ask_offered = Compiled(_offered, by_keys=True)


def crop_shapes(reading: str, width: int, height: int, most: int = 6) -> list[dict[str, Any]]:
    """One proposal per shape of the sizes in use: {title, x, y, width, height, known} (known: by the face).

    `reading` is a frame's as JSON, '' without one; `width` and `height` are the frame's own.
    """
    shapes = _shapes(tuple(map(tuple, _ask_offered())), most)
    parts = _parts(reading, width, height, tuple(shape for shape, _title in shapes))
    return [{"title": gettext(title), **part} for (_shape, title), part in zip(shapes, parts, strict=True)]


@lru_cache(maxsize=8)
def _shapes(rows: tuple[tuple[Any, ...], ...], most: int) -> list[tuple[tuple[int, int], str]]:
    """(shape, title as written) of the first sizes of different shapes, of the offered rows as they stand."""
    shapes: dict[tuple[int, int], str] = {}
    for row in rows:
        spec = sizes.spec_from(dict(zip(sizes.OF_SPEC, row, strict=True)))
        if spec.ratio is not None and len(shapes) < most:
            shapes.setdefault((spec.ratio.width, spec.ratio.height), spec.title)
    return list(shapes.items())


@lru_cache(maxsize=512)
def _parts(reading: str, width: int, height: int, shapes: tuple[tuple[int, int], ...]) -> list[dict[str, Any]]:
    """Where each shape would be cut. Proposing one takes a millisecond and hangs on nothing but these values."""
    from galleries.imaging.face.reading import FrameReading  # with it comes all that reads pictures
    from galleries.imaging.framing import crops
    from galleries.imaging.framing.geometry import Ratio

    values = msgspec.json.decode(reading) if reading else None
    read = FrameReading.from_dict(values) if values else None
    width, height = (read.width, read.height) if read else (width, height)
    face = read.face if read else None
    rects = [crops.propose(width, height, face, Ratio(*shape)).rect for shape in shapes]
    return [
        {
            "x": rect.x / width, "y": rect.y / height, "width": rect.width / width, "height": rect.height / height,
            "known": face is not None,
        }
        for rect in rects
    ]  # fmt: skip
