"""One final to cut: its size, its crop, how it is turned; and whether that can be done in a frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from galleries.imaging.arrays import Pixels
from galleries.imaging.codes import Code
from galleries.imaging.colour import convert
from galleries.imaging.errors import BadCrop
from galleries.imaging.framing.geometry import Rect, turned_inside
from galleries.imaging.framing.sizes import SizeSpec
from galleries.told import Value


@dataclass(frozen=True)
class CutOrder:
    """One final to cut. `crop` in pixels of the upright full frame, of the size's shape, bleed included;
    `tilt_deg` turns it about its centre (see `geometry.from_turned`). `icc`: a lab's own RGB profile instead of
    the one that the size names."""

    size: SizeSpec
    crop: Rect
    tilt_deg: float = 0.0
    monochrome: bool = False
    icc: bytes = b""

    @property
    def target(self) -> bytes:
        """The profile the file is made in. Raises `BadProfile`."""
        return self.icc or convert.output_profile(self.size.profile)

    @property
    def out_size(self) -> tuple[int, int]:
        """Width and height of the file in pixels, bleed included."""
        if self.size.full_frame:
            return (self.crop.width, self.crop.height)
        return (self.size.out_width, self.size.out_height)


Finish = Callable[[Pixels, CutOrder], Pixels]  # draws over the finished pixels (border, name strip)


def check_order(order: CutOrder, width: int, height: int) -> None:
    """Raises `BadCrop` when the crop leaves the frame of width × height or has another shape than its size."""
    crop, size = order.crop, order.size
    placed: dict[str, Value] = {
        "width_px": crop.width,
        "height_px": crop.height,
        "x_px": crop.x,
        "y_px": crop.y,
        "size": size.slug,
    }
    frame: dict[str, Value] = {"frame_width_px": width, "frame_height_px": height}
    if not crop.inside(width, height):
        raise BadCrop(Code.ORDER_OUTSIDE, **placed, **frame)
    if order.tilt_deg and not turned_inside(crop, order.tilt_deg, width, height, slack=1.0):
        raise BadCrop(Code.ORDER_TURNED_OUTSIDE, **placed, **frame, tilt_deg=round(order.tilt_deg, 1))
    ratio = size.ratio
    if ratio and not (
        abs(crop.width - ratio.width_for(crop.height)) <= 1 or abs(crop.height - ratio.height_for(crop.width)) <= 1
    ):
        raise BadCrop(Code.ORDER_SHAPE, **placed, width=ratio.width, height=ratio.height)
