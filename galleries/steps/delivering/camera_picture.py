"""What is written beside a file that was cut from the camera's own picture inside a raw file."""

from __future__ import annotations

from typing import Any

from galleries.models import Frame
from galleries.steps.delivering import sizes
from galleries.steps.delivering.file_order import FileOrder
from galleries.told import Told, Value, told
from galleries.words.steps import Code

CODES = (Code.CAMERA_PICTURE, Code.CAMERA_PICTURE_PPI)


def of(order: FileOrder, numbers: dict[str, dict[str, Any]]) -> list[Told]:
    """The picture it comes from, its digital source type and, of a print, the resolution; nothing of any other file.
    `numbers` are those that the delivery keeps of its sizes."""
    frame = Frame.objects.filter(finals=order.final, sha256=order.source).first()
    if frame is None or not frame.is_raw:
        return []
    facts: dict[str, Value] = {
        "name": frame.name, "width_px": frame.width, "height_px": frame.height,
        "source": order.said.digital_source_type,
    }  # fmt: skip
    spec = sizes.spec_from(numbers[order.size])
    if spec.full_frame or spec.use != "print":
        return [told(Code.CAMERA_PICTURE, **facts)]
    ppi = spec.ppi * min(order.crop.width / spec.out_width, order.crop.height / spec.out_height)
    return [told(Code.CAMERA_PICTURE_PPI, **facts, effective_ppi=round(ppi))]
