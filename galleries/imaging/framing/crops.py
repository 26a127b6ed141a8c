"""The proposal of a crop from eyes and head, and what is to be said about any crop.

Rules, as shares of the crop's height (common practice, no source):
 * eye line 33 to 42 % from the top; headroom above the crown 3 to 10 %; the chin is never cut;
 * head (crown to chin) 40 to 60 % of the height in a 4:5; in another shape the same share of the picture's
   area, so the bounds go with the square root of width over height;
 * the face stands in the middle, with a little more room on the side it looks to;
 * the horizon is left alone unless levelling is asked for.
Of all crops that keep the rules the one nearest to the middle of eye line, headroom and head together is proposed
(common practice, no source), looser where it would have to be enlarged for its size; where the frame allows none, the
one that breaks them least, with the reason in words.

Shape: sides are whole multiples of the size's ratio in lowest terms, so the shape is exact. Where one such step
is more than 2 % of the frame (A4 is 620:877), one side is any whole number and the other the nearest to the
shape.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import numpy.typing as npt

from galleries.imaging.codes import Code
from galleries.imaging.face.faces import Face
from galleries.imaging.face.places import from_corner
from galleries.imaging.framing.geometry import Ratio, Rect, shapes_inside, turned_inside
from galleries.imaging.framing.sizes import SizeSpec
from galleries.told import Told, told

EYE_LINE = (0.33, 0.42)
HEADROOM = (0.03, 0.10)
HEAD_IN_4_5 = (0.40, 0.60)
CHIN_ROOM = 0.04
LOOK_ROOM = 0.06
_CANDIDATES = 100
_PULL = 0.001  # the pull of a rule's middle, at most: all three weigh less than 0.6 % of the height beyond any rule
_ENLARGED = 0.05  # of a crop without a pixel: more than `_PULL`, less than any rule
_TIE = 1e-6
Numbers = npt.NDArray[np.float64]


class HasFace(Protocol):
    """A reading of a frame, as far as a crop needs it."""

    @property
    def face(self) -> Face | None: ...


@dataclass(frozen=True)
class CropProposal:
    """A crop inside the frame, its tilt (0 unless levelling was asked for) and why it is what it is."""

    rect: Rect
    tilt_deg: float
    reasons: tuple[Told, ...]


@dataclass(frozen=True)
class Head:
    """What a crop must respect, in the crop's own upright axes (turned about the eyes when levelling)."""

    eye_x: float
    eye_y: float
    crown: float
    chin: float
    left: float
    right: float
    looks: float


def head_shares(shape: Ratio) -> tuple[float, float]:
    """Least and most share of the crop's height that the head may take in a shape."""
    stretch = math.sqrt(float(shape.fraction) / 0.8)
    return HEAD_IN_4_5[0] * stretch, HEAD_IN_4_5[1] * stretch


def propose(
    frame_w: int,
    frame_h: int,
    seen: Face | HasFace | None,
    ratio: Ratio | None,
    *,
    level: bool = False,
    out_height: int = 0,
) -> CropProposal:
    """Propose a crop of `ratio` in a frame of frame_w × frame_h pixels.

    `seen` is the face in the frame's pixels (or a reading that holds it); None gives the middle of the upper
    part. A ratio of None is the whole frame. With `level` the crop is turned so that the eyes lie level.
    `out_height`: the pixels that the size's file is high, 0 for any.
    """
    if ratio is None:
        return CropProposal(Rect(0, 0, frame_w, frame_h), 0.0, (told(Code.WHOLE_FRAME),))
    face = seen if isinstance(seen, Face) or seen is None else seen.face
    shapes = shapes_inside(frame_w, frame_h, ratio)
    if face is None:
        width, height = shapes[-1]
        rect = Rect((frame_w - width) // 2, (frame_h - height) // 4, width, height)
        return CropProposal(rect, 0.0, (told(Code.MIDDLE),))
    tilt = face.roll_deg if level else 0.0
    head = _head(face, tilt)
    search = _Search(frame_w, frame_h, head, face.eye_middle, tilt, head_shares(ratio), out_height)
    stride = max(1, len(shapes) // _CANDIDATES)
    picked = range(len(shapes) - 1, -1, -stride)
    best = search.best([(i, shapes[i]) for i in picked])
    if stride > 1:
        near = range(min(len(shapes) - 1, best.index + stride), max(0, best.index - stride) - 1, -1)
        best = search.best([(i, shapes[i]) for i in near])
    reasons = _reasons(best.rect, head, search, face)
    if level:
        reasons.append(told(Code.LEVELLED, tilt_deg=round(tilt, 1)))
    return CropProposal(best.rect, tilt, tuple(reasons))


def _head(face: Face, tilt: float) -> Head:
    """The head in axes turned by `tilt` about the point between the eyes."""
    (ex, ey), chin = from_corner(face.eye_middle), from_corner(face.menton)
    below = chin[1] - ey
    above = ey - from_corner((0.0, face.crown_y))[1]
    if tilt:
        radians = math.radians(tilt)
        dx, dy = chin[0] - ex, below
        upright = -math.sin(radians) * dx + math.cos(radians) * dy
        above *= max(0.5, upright / below) if below > 0 else 1.0
        below = upright
    x, _, w, _ = face.box
    middle = (ex + x + w / 2 + 0.5) / 2
    half = max(w / 2, face.eye_distance)
    return Head(middle, ey, ey - above, ey + max(1.0, below), middle - half, middle + half, face.yaw_hint)


@dataclass(frozen=True)
class _Placement:
    index: int
    rect: Rect


@dataclass(frozen=True)
class _Search:
    frame_w: int
    frame_h: int
    head: Head
    pivot: tuple[float, float]
    tilt: float
    shares: tuple[float, float]
    out_height: int = 0

    def best(self, candidates: list[tuple[int, tuple[int, int]]]) -> _Placement:
        """The cheapest candidate; of equally good ones the first, so give the largest first.

        All are placed and priced at once: one by one they took most of the time of opening a frame.
        """
        sizes = np.array([size for _index, size in candidates], dtype=np.float64)
        width, height = sizes[:, :1], sizes[:, 1:]
        x, y, fits = np.broadcast_arrays(*self._place(self._tops(height), width, height))
        left, top = self._upright(x, y, width, height)
        costs = self._cost(left, top, width, height).tolist()
        pulls, fitting = self._pull(top, height).tolist(), fits.tolist()
        cheapest, place = math.inf, None
        for row in range(len(candidates)):
            for nth, cost in enumerate(costs[row]):
                if not fitting[row][nth] or cost >= cheapest:
                    continue
                total = cost + pulls[row][nth]
                if place is None or total < cheapest - _TIE:
                    cheapest, place = total, (row, nth)
        if place is None:  # turned too far for any candidate: the smallest around the eyes
            index, (w, h) = candidates[-1]
            x0, y0 = round(self.pivot[0] - w / 2), round(self.pivot[1] - h / 2)
            return _Placement(index, Rect(x0, y0, w, h).clamp_to(self.frame_w, self.frame_h))
        index, (w, h) = candidates[place[0]]
        return _Placement(index, Rect(int(x[place]), int(y[place]), w, h))

    def _tops(self, height: Numbers) -> Numbers:
        """Tops worth trying, of each height a row: where a rule begins or ends to hold, and the middle of eye line and
        headroom first."""
        head = self.head
        low = np.maximum(head.eye_y - EYE_LINE[1] * height, head.crown - HEADROOM[1] * height)
        high = np.minimum(head.eye_y - EYE_LINE[0] * height, head.crown - HEADROOM[0] * height)
        by_eyes, by_crown = head.eye_y - _middle(EYE_LINE) * height, head.crown - _middle(HEADROOM) * height
        eyes_weigh, crown_weighs = 1 / _reach(EYE_LINE) ** 2, 1 / _reach(HEADROOM) ** 2
        middle = (eyes_weigh * by_eyes + crown_weighs * by_crown) / (eyes_weigh + crown_weighs)
        tops = [
            np.maximum(low, np.minimum(middle, high)),
            low,
            high,
            head.eye_y - EYE_LINE[1] * height,
            head.eye_y - EYE_LINE[0] * height,
            head.crown - HEADROOM[0] * height,
            head.chin + CHIN_ROOM * height - height,
        ]
        return np.hstack(tops)

    @cached_property
    def _turn(self) -> tuple[float, float]:
        """Cosine and sine of the tilt."""
        return math.cos(math.radians(self.tilt)), math.sin(math.radians(self.tilt))

    def _place(self, top: Numbers, width: Numbers, height: Numbers) -> tuple[Numbers, Numbers, npt.NDArray[np.bool_]]:
        """Whole left and top of the rectangle whose turned crop has this top and the face at its place, moved into the
        frame; and whether there is one."""
        share = 0.5 - LOOK_ROOM * max(-1.0, min(1.0, self.head.looks))
        u = self.head.eye_x - share * width + width / 2 - self.pivot[0] - 0.5
        v = top + height / 2 - self.pivot[1] - 0.5
        cos, sin = self._turn
        cx = self.pivot[0] + 0.5 + cos * u - sin * v
        cy = self.pivot[1] + 0.5 + sin * u + cos * v
        reach_x = (width * abs(cos) + height * abs(sin)) / 2
        reach_y = (width * abs(sin) + height * abs(cos)) / 2
        x, x_fits = _whole_between(cx - width / 2, reach_x - width / 2, self.frame_w - reach_x - width / 2)
        y, y_fits = _whole_between(cy - height / 2, reach_y - height / 2, self.frame_h - reach_y - height / 2)
        return x, y, x_fits & y_fits

    def upright(self, rect: Rect) -> tuple[float, float]:
        """Left and top of the crop in the head's axes."""
        left, top = self._upright(*(np.array(float(side)) for side in (rect.x, rect.y, rect.width, rect.height)))
        return float(left), float(top)

    def _upright(self, x: Numbers, y: Numbers, width: Numbers, height: Numbers) -> tuple[Numbers, Numbers]:
        dx, dy = x + width / 2 - self.pivot[0] - 0.5, y + height / 2 - self.pivot[1] - 0.5
        cos, sin = self._turn
        u, v = cos * dx + sin * dy, -sin * dx + cos * dy
        return self.pivot[0] + 0.5 + u - width / 2, self.pivot[1] + 0.5 + v - height / 2

    def _cost(self, left: Numbers, top: Numbers, w: Numbers, h: Numbers) -> Numbers:
        """How far crops are from the rules, in weighted shares of their height or width."""
        head = self.head
        chin = np.maximum(0.0, head.chin + CHIN_ROOM * h - top - h) / h
        sides = (np.maximum(0.0, left - head.left) + np.maximum(0.0, head.right - left - w)) / w
        eye = _beyond((head.eye_y - top) / h, EYE_LINE)
        crown = max(head.crown, 0.0)  # no crop brings back what the frame itself cuts off
        room = (crown - top) / h
        headroom = 2 * np.maximum(0.0, HEADROOM[0] - room) + np.maximum(0.0, room - HEADROOM[1])
        size = _beyond((head.chin - crown) / h, self.shares)
        wanted = 0.5 - LOOK_ROOM * head.looks
        centring = np.maximum(0.0, np.abs((head.eye_x - left) / w - wanted) - 0.01)
        return np.asarray(100 * chin + 50 * sides + 3 * eye + headroom + 0.5 * size + 0.5 * centring)

    def _pull(self, top: Numbers, h: Numbers) -> Numbers:
        """How far eye line, headroom and head are from the middle of their rules, and the crop from its size's pixels.

        By the square, so that none is given up for another, and no more beyond a rule than at its edge: there the
        rules' own price counts.
        """
        head = self.head
        crown = max(head.crown, 0.0)
        away = _away((head.eye_y - top) / h, EYE_LINE) + _away((crown - top) / h, HEADROOM)
        away = away + _away((head.chin - crown) / h, self.shares)
        enlarged = np.maximum(0.0, 1 - h / self.out_height) if self.out_height else 0.0
        return np.asarray(_PULL * away + _ENLARGED * enlarged)


def _away(value: Numbers, bounds: tuple[float, float]) -> Numbers:
    """0 in the middle of the bounds, 1 at either and beyond."""
    share = (2 * value - bounds[0] - bounds[1]) / (bounds[1] - bounds[0])
    return np.minimum(1.0, share * share)


def _middle(bounds: tuple[float, float]) -> float:
    return (bounds[0] + bounds[1]) / 2


def _reach(bounds: tuple[float, float]) -> float:
    return (bounds[1] - bounds[0]) / 2


def _outside(value: float, bounds: tuple[float, float]) -> float:
    return max(0.0, bounds[0] - value, value - bounds[1])


def _beyond(value: Numbers, bounds: tuple[float, float]) -> Numbers:
    return np.maximum(0.0, np.maximum(bounds[0] - value, value - bounds[1]))


def _whole_between(wanted: Numbers, low: Numbers, high: Numbers) -> tuple[Numbers, npt.NDArray[np.bool_]]:
    """The whole numbers nearest to `wanted` in low..high (to a millionth of a pixel), and whether there are any."""
    least, most = np.ceil(low - 1e-6), np.floor(high + 1e-6)
    return np.minimum(np.maximum(np.floor(wanted + 0.5), least), most), most >= least


def _share(value: float) -> float:
    return round(value, 4)


def _reasons(rect: Rect, head: Head, search: _Search, face: Face) -> list[Told]:
    left, top = search.upright(rect)
    h, w = rect.height, rect.width
    eye, room = (head.eye_y - top) / h, (head.crown - top) / h
    size, side = (head.chin - head.crown) / h, (head.eye_x - left) / w
    reasons = [told(Code.MEASURES, eyes_share=_share(eye), headroom_share=_share(room), head_share=_share(size))]
    slack = 0.006
    if head.chin > top + h + 0.5:
        reasons.append(told(Code.CHIN_OUT_OF_FRAME))
    elif head.chin + face.menton_uncertainty > top + h + 0.5:
        reasons.append(told(Code.CHIN_MAY_BE_CUT))
    if _outside(eye, EYE_LINE) > slack:
        reasons.append(told(Code.EYES_HIGH if eye < EYE_LINE[0] else Code.EYES_LOW))
    sure = face.crown_measured
    if head.crown < -slack * h:
        reasons.append(told(Code.CROWN_OUTSIDE if sure else Code.CROWN_OUTSIDE_ESTIMATED))
    elif room < -slack:
        reasons.append(told(Code.CROWN_GIVEN_UP if sure else Code.CROWN_GIVEN_UP_ESTIMATED))
    elif room < HEADROOM[0] - slack:
        reasons.append(told(Code.LITTLE_HEADROOM if sure else Code.LITTLE_HEADROOM_ESTIMATED))
    elif room > HEADROOM[1] + slack:
        reasons.append(told(Code.MUCH_HEADROOM))
    if size > search.shares[1] + slack:
        reasons.append(told(Code.TIGHT))
    elif size < search.shares[0] - slack:
        reasons.append(told(Code.LOOSE))
    if abs(side - (0.5 - LOOK_ROOM * head.looks)) > 0.02:
        reasons.append(told(Code.OFF_MIDDLE))
    elif abs(head.looks) > 0.15:
        reasons.append(told(Code.ROOM_RIGHT if head.looks > 0 else Code.ROOM_LEFT))
    return reasons


def warnings_for(
    rect: Rect, frame: tuple[int, int], seen: Face | HasFace | None, size: SizeSpec, *, tilt_deg: float = 0.0
) -> list[Told]:
    """What a person should know before a crop `rect` of `frame` (width, height) is cut at `size`."""
    warnings = [*_pixel_warnings(rect, frame, size, tilt_deg)]
    if size.ratio is None:
        return warnings
    face = seen if isinstance(seen, Face) or seen is None else seen.face
    if face is None:
        return [*warnings, told(Code.FACE_NOT_KNOWN)]
    return warnings + _head_warnings(rect, frame, face, size, tilt_deg)


def _pixel_warnings(rect: Rect, frame: tuple[int, int], size: SizeSpec, tilt: float) -> list[Told]:
    warnings = []
    if not turned_inside(rect, tilt, *frame):
        warnings.append(told(Code.OUTSIDE, width_px=frame[0], height_px=frame[1]))
    if size.ratio is None:
        return warnings
    if not size.ratio.matches(rect):
        shape = {"width": size.ratio.width, "height": size.ratio.height}
        warnings.append(told(Code.SHAPE, width_px=rect.width, height_px=rect.height, **shape))
    return warnings + too_few_pixels(rect, size)


def too_few_pixels(rect: Rect, size: SizeSpec) -> list[Told]:
    """What a crop lacks of the pixels its size has: by how much it would be enlarged, and a print's resolution where it
    falls under the least that is asked for. Empty for the whole frame and where there are enough."""
    if size.ratio is None:
        return []
    lacks = []
    grow = max(size.out_width / rect.width, size.out_height / rect.height)
    if grow > 1:
        lacks.append(
            told(
                Code.TO_ENLARGE,
                width_px=rect.width,
                height_px=rect.height,
                out_width_px=size.out_width,
                out_height_px=size.out_height,
                enlarged_times=round(grow, 2),
            )
        )
    ppi = math.floor(size.ppi / grow)
    if size.min_ppi and ppi < size.min_ppi:
        lacks.append(told(Code.FEW_PPI, print_ppi=ppi, least_ppi=size.min_ppi))
    return lacks


def _head_warnings(rect: Rect, frame: tuple[int, int], face: Face, size: SizeSpec, tilt: float) -> list[Told]:
    head = _head(face, tilt)
    search = _Search(*frame, head, face.eye_middle, tilt, head_shares(size.ratio or Ratio(4, 5)))
    left, top = search.upright(rect)
    trim = size.bleed_px / 2 * rect.height / max(1, size.out_height)
    safe = trim + size.safe * rect.height / max(1, size.out_height)
    h, w = rect.height, rect.width
    warnings = []
    if head.chin > top + h - trim:
        warnings.append(told(Code.CHIN_CUT))
    elif head.chin + face.menton_uncertainty > top + h - trim:
        warnings.append(told(Code.CHIN_MAY_BE_CUT))
    elif head.chin > top + h - safe:
        warnings.append(told(Code.CHIN_UNSAFE))
    if head.crown < top + trim:
        sure = head.crown + face.crown_uncertainty < top + trim
        warnings.append(told(Code.CROWN_CUT if sure else Code.CROWN_MAY_BE_CUT))
    if head.left < left + trim or head.right > left + w - trim:
        warnings.append(told(Code.SIDE_CUT))
    eye, share = (head.eye_y - top) / h, (head.chin - head.crown) / h
    if _outside(eye, EYE_LINE) > 0.01:
        warnings.append(told(Code.EYE_LINE, eyes_share=_share(eye), least_share=EYE_LINE[0], most_share=EYE_LINE[1]))
    if share > search.shares[1] + 0.02:
        warnings.append(told(Code.HEAD_LARGE, head_share=_share(share)))
    elif share < search.shares[0] - 0.02:
        warnings.append(told(Code.HEAD_SMALL, head_share=_share(share)))
    return warnings
