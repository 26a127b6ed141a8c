"""A crop of one size taken over by another whose paper has the same shape once it is trimmed.

Bleed is cut away by the lab, so 8 × 10 in with and without bleed show the same picture, though their files have
different shapes.
"""

from __future__ import annotations

from fractions import Fraction

from galleries.imaging.framing.geometry import Rect, turned_inside
from galleries.imaging.framing.sizes import SizeSpec

NEAR = Fraction(1, 100)  # shapes that differ by less than this in width to height count as the same


def same_trim(one: SizeSpec, other: SizeSpec) -> bool:
    """Do both show the same shape once the bleed is cut away? A full frame shows none."""
    if one.full_frame or other.full_frame:
        return False
    return abs(Fraction(one.width, one.height) / Fraction(other.width, other.height) - 1) < NEAR


def taken_over(rect: Rect, tilt_deg: float, was: SizeSpec, now: SizeSpec, frame: tuple[int, int]) -> Rect | None:
    """The crop for the size `now` that shows what `rect` shows for `was`, in pixels of a frame (width, height).

    The trimmed parts have the same centre and width; where the bleed does not fit into the frame, the crop is moved
    and then made smaller until it does. None: the trimmed shapes differ, or it cannot be fitted with this tilt.
    """
    ratio = now.ratio
    if ratio is None or not same_trim(was, now):
        return None
    if was.ratio == ratio:
        return rect
    wanted = Fraction(rect.width * was.width * now.out_width, was.out_width * now.width)
    for share in range(100, 74, -1):
        width = round(wanted * share / 100)
        height = ratio.height_for(width)
        if width < 1 or width > frame[0] or height > frame[1]:
            continue
        cx, cy = rect.centre
        placed = Rect(round(cx - width / 2), round(cy - height / 2), width, height).clamp_to(*frame)
        if not tilt_deg or turned_inside(placed, tilt_deg, *frame, slack=1.0):
            return placed
    return None
