"""A picture's planes of light and colour brought down to a proof's size, and turned upright on the way.

Light by the same Lanczos as everything else. Where a pixel is one sample libvips has fast code for the vertical half
alone; rows are made columns for the other half, which takes a third of the time for the same values (3000 × 2000 to
2048 × 1365: 18 ms of CPU in place of 57, on a busy machine). It goes in strips that are still in the processor's cache
when they are turned, and asks libvips for each in this thread: a whole plane at once starts another, which wakes this
one for every 16 rows (on a busy machine 7.3 to 7.8 ms, and 6.2 to 6.8 so).
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from galleries.imaging.colour.planes import Plane, Planes, half
from galleries.imaging.containers import vips
from galleries.imaging.opening.decode import turn_upright
from galleries.imaging.output import resize

_STRIP = 256  # rows
_FEW = 400_000  # pixels, up to which averaging takes less time than Lanczos
_FLIPPED = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}  # by orientation, after rows and columns are exchanged from 5 on


def _strips(plane: Plane, height: int) -> Iterator[tuple[int, Plane]]:
    """A plane (h, w) at so many rows, top to bottom: the first row of each strip, and the strip."""
    rows, columns = plane.shape
    if rows > height:
        # The least that the binding takes: of what else it does for a picture each step takes a third of a millisecond.
        image = vips.Image.new_from_memory(np.ascontiguousarray(plane), columns, rows, 1, "uchar")
        far = {"gap": 2.0} if rows >= 4 * height else {}  # averaged first, as `resize_to` does from there on
        fewer = image.reducev(rows / height, kernel="lanczos3", **far)
        if fewer.height == height:
            region = vips.Region.new(fewer)
            for top in range(0, height, _STRIP):
                count = min(_STRIP, height - top)
                yield top, np.frombuffer(region.fetch(0, top, columns, count), np.uint8).reshape(count, columns)
            return
    if rows != height:
        plane = np.asarray(resize.resize_to(plane[:, :, None], columns, height)[:, :, 0], np.uint8)
    for top in range(0, height, _STRIP):
        yield top, plane[top : top + _STRIP]


def _rows_to(plane: Plane, height: int) -> Plane:
    """A plane (h, w) at so many rows."""
    if plane.shape[0] == height:
        return plane
    whole = np.empty((height, plane.shape[1]), np.uint8)
    for top, strip in _strips(plane, height):
        whole[top : top + len(strip)] = strip
    return whole


def _turned(plane: Plane, height: int, flip: int | None = None) -> Plane:
    """A plane (h, w) at so many rows, which are then its columns, (w, height); flipped as OpenCV numbers it."""
    columns = np.empty((plane.shape[1], height), np.uint8)
    for top, strip in _strips(plane, height):
        left = top if flip in (None, 0) else height - top - len(strip)
        if flip is not None:  # one way or the other before the strip is turned
            strip = cv2.flip(strip, {0: 1, 1: 0, -1: -1}[flip])
        cv2.transpose(strip, dst=columns[:, left : left + len(strip)])
    return columns


def shrink_light(plane: Plane, width: int, height: int, orientation: int = 1) -> Plane:
    """A plane (h, w) at exactly width × height, upright, from what lies under an EXIF orientation, by the Lanczos of
    `resize_to`, value for value."""
    flip = _FLIPPED.get(orientation)
    if orientation in (5, 6, 7, 8):
        return _rows_to(_turned(plane, width, flip), height)
    if plane.shape[1] == width:
        return np.asarray(turn_upright(_rows_to(plane, height), orientation), np.uint8)
    return _turned(_turned(plane, height), width, flip)


def shrink_colour(plane: Plane, width: int, height: int, orientation: int = 1) -> Plane:
    """A plane of colour at exactly width × height, upright: each side halved while possible, the rest by what lies
    between neighbours. The eye sees colour half as sharp as light, so that nothing better shows."""
    sideways = orientation in (5, 6, 7, 8)
    across, down = (height, width) if sideways else (width, height)
    while (by := (1 + (plane.shape[1] >= 2 * across), 1 + (plane.shape[0] >= 2 * down))) != (1, 1):
        size = (plane.shape[1] // by[0], plane.shape[0] // by[1])
        even = plane[: size[1] * by[1], : size[0] * by[0]]  # only an even size is averaged fast
        if by == (1, 2):  # as 4:2:2 has it; seven times as fast by whole rows
            plane = cv2.addWeighted(even[::2], 0.5, even[1::2], 0.5, 0)
        else:
            plane = cv2.resize(even, size, interpolation=cv2.INTER_AREA if by == (2, 2) else cv2.INTER_LINEAR)
    upright = turn_upright(plane, orientation)
    if upright.shape != (height, width):
        upright = cv2.resize(upright, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(upright, np.uint8)


def shrink_planes(planes: Planes, width: int, height: int, orientation: int = 1) -> Planes:
    """A picture's planes at exactly width × height, upright, with colour at half of both sides."""
    few = half(width), half(height)
    return Planes(
        shrink_light(planes.luma, width, height, orientation),
        shrink_colour(planes.cb, *few, orientation),
        shrink_colour(planes.cr, *few, orientation),
    )


def averaged_first(planes: Planes, width: int, height: int) -> Planes:
    """Planes that are to be shrunk at least fourfold with their light averaged two by two (see `resize.shrink_far`);
    else themselves."""
    luma = planes.luma
    if luma.shape[1] < 4 * width or luma.shape[0] < 4 * height:
        return planes
    few = (luma.shape[1] // 2, luma.shape[0] // 2)
    even = luma[: 2 * few[1], : 2 * few[0]]  # only an even size is averaged fast
    averaged = cv2.resize(even, few, interpolation=cv2.INTER_AREA)
    return Planes(np.asarray(averaged, np.uint8), planes.cb, planes.cr)


def shrink_again(planes: Planes, width: int, height: int) -> Planes:
    """A proof's planes at a smaller companion's size, exactly width × height.

    Small ones about half as large (1.6 to 2.5 times less) have light brought to twice that size between neighbours
    (cubic) and averaged two by two: 0.7 ms in place of `shrink_light`'s 1.0, half of which its calls take. The middle
    one would take 2.8 ms so, in place of 1.9 to 2.6. On 10 pictures small ones lie 42 dB from a float Lanczos
    (`shrink_light` 57) and keep at least 0.88 of its edges' energy; encoded, their SSIM is 0.0056 less. Tried for the
    middle one: averaged first and enlarged (cubic) after, 0.8 ms, 36 dB.
    """
    if planes.size == (width, height):
        return planes
    luma = planes.luma
    about_half = all(0.8 <= 2 * few / side <= 1.25 for few, side in zip((width, height), planes.size, strict=True))
    if about_half and width * height <= _FEW:
        twice = cv2.resize(luma, (2 * width, 2 * height), interpolation=cv2.INTER_CUBIC)
        luma = np.asarray(cv2.resize(twice, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    return shrink_planes(averaged_first(Planes(luma, planes.cb, planes.cr), width, height), width, height)
