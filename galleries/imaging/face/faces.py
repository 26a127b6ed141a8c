"""Where the face is: eyes, lids, roll, chin and an honest guess of the crown. Nothing about identity.

Coordinates are pixels of the array given, (0, 0) the middle of its top left pixel; `scaled` takes a finding
to another size of the same picture. Left and right are the subject's own, so the right eye lies on the
picture's left.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.face import models
from galleries.imaging.face.crown import crown_against_backdrop
from galleries.imaging.face.expression import features
from galleries.imaging.face.models import Detection
from galleries.told import Told, told

Point = tuple[float, float]

HAIR = 0.07  # of 26 studio portraits: mean 0.08, median 0.06, from -0.14 (shaven) to 0.64 (put up high)
# The mesh's chin lies on the skin above the chin's outline: by 0.08 of the way from the eyes, the mean of 13 of the 26
# portraits as marked by us (tests/imaging/face/chins.csv). On the other 13 the outline so placed is off by 1.6 % of the
# head on the mean and 3.1 % at most, the mesh's own point by 3.5 and 6.3 %, always too high.
MENTON_BELOW, MENTON_UNCERTAINTY = 0.08, 0.08
CHIN, FOREHEAD, NOSE_TIP, UPPER_LIP, LOWER_LIP = 152, 10, 1, 13, 14
RIGHT_CORNERS, LEFT_CORNERS = (33, 133), (362, 263)
_OVAL = (10, 297, 284, 389, 454, 361, 397, 379, 152, 150, 172, 132, 234, 162, 54, 67)
_PRESENCE_FLOOR = 0.5
_MOST_FACES = 6
_SAME_FACE = 0.3
_SMALL = 0.14  # of the long side: a face box under this is looked at again in a window of its own
_STEEP = math.radians(32)  # lean of the eye line over which the detector is asked again, upright
_SKEW = math.radians(9)  # most by which the mesh's eye line may differ from that of its input square
_MOST_LOOKS = 5
_DARK = 100  # 99.5th percentile of the code values under which a frame is lifted before looking


@dataclass(frozen=True)
class Face:
    """One face. `box` is (x, y, width, height) round the face without hair.

    roll_deg: slope of the eye line, positive when the head leans clockwise in the picture. Openness is lid
    height over lid width (about 0.3 open, under 0.2 worth a look); None when the lids could not be read.
    yaw_hint: -1..1, the side the person looks to, positive towards the picture's right. crown_y is measured
    against the backdrop (`crown_measured`, the hair's top) or estimated from the proportions of the head, hair
    above it; either way within about `crown_uncertainty` pixels. chin: a point on its skin, see `menton`. features:
    `expression.features`, () in older readings.
    """

    box: tuple[float, float, float, float]
    right_eye: Point
    left_eye: Point
    right_openness: float | None
    left_openness: float | None
    iris_radius_right: float
    iris_radius_left: float
    roll_deg: float
    crown_y: float
    crown_uncertainty: float
    crown_measured: bool
    chin: Point
    forehead: Point
    mouth: Point
    yaw_hint: float
    score: float
    right_lid: tuple[Point, ...] = ()
    left_lid: tuple[Point, ...] = ()
    oval: tuple[Point, ...] = ()
    features: tuple[float, ...] = ()

    @property
    def eye_middle(self) -> Point:
        """The point half-way between the pupils."""
        return (self.right_eye[0] + self.left_eye[0]) / 2, (self.right_eye[1] + self.left_eye[1]) / 2

    @property
    def eye_distance(self) -> float:
        """Pixels between the pupils."""
        return math.hypot(self.left_eye[0] - self.right_eye[0], self.left_eye[1] - self.right_eye[1])

    @property
    def menton(self) -> Point:
        """The lowest point of the chin's outline against neck or shadow: where a crop begins to cut the chin."""
        (ex, ey), (x, y) = self.eye_middle, self.chin
        return x + MENTON_BELOW * (x - ex), y + MENTON_BELOW * (y - ey)

    @property
    def menton_uncertainty(self) -> float:
        """Pixels by which `menton` may be off: twice the spread over the portraits."""
        (ex, ey), (x, y) = self.eye_middle, self.chin
        return MENTON_UNCERTAINTY * math.hypot(x - ex, y - ey)

    def scaled(self, factor: float) -> Face:
        """The same face in a picture `factor` times as large."""
        return self._mapped(factor, 0.0, 0.0)

    def moved(self, dx: float, dy: float) -> Face:
        """The same face in a picture whose origin lies at (-dx, -dy) of this one."""
        return self._mapped(1.0, dx, dy)

    def _mapped(self, f: float, dx: float, dy: float) -> Face:
        shift = (f - 1) / 2  # pixel middles: (x + 0.5) * f - 0.5

        def at(p: Point) -> Point:
            return p[0] * f + shift + dx, p[1] * f + shift + dy

        return replace(
            self,
            box=(*at(self.box[:2]), self.box[2] * f, self.box[3] * f),
            right_eye=at(self.right_eye),
            left_eye=at(self.left_eye),
            iris_radius_right=self.iris_radius_right * f,
            iris_radius_left=self.iris_radius_left * f,
            crown_y=at((0, self.crown_y))[1],
            crown_uncertainty=self.crown_uncertainty * f,
            chin=at(self.chin),
            forehead=at(self.forehead),
            mouth=at(self.mouth),
            right_lid=tuple(at(p) for p in self.right_lid),
            left_lid=tuple(at(p) for p in self.left_lid),
            oval=tuple(at(p) for p in self.oval),
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain JSON; `from_dict` is its inverse up to the rounding to 0.001."""
        return {name: _plain(getattr(self, name)) for name in self.__dataclass_fields__}

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Face:
        """The inverse of `as_dict`; unknown keys are ignored."""
        known = {k: _points(v) for k, v in values.items() if k in cls.__dataclass_fields__}
        return cls(**known)


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 3)
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return value


def _points(value: Any) -> Any:
    return tuple(_points(v) for v in value) if isinstance(value, list) else value


@dataclass(frozen=True)
class FaceFinding:
    """The subject's face, everybody else's, and how that was decided."""

    face: Face | None
    others: tuple[Face, ...]
    reason: Told

    def scaled(self, factor: float) -> FaceFinding:
        """The same finding in a picture `factor` times as large."""
        face = self.face.scaled(factor) if self.face else None
        return FaceFinding(face, tuple(o.scaled(factor) for o in self.others), self.reason)


def find_faces(rgb: Pixels, half: Pixels | None = None) -> FaceFinding:
    """Find the faces in an upright sRGB picture, uint8 (height, width, 3). `half`: what `models.halved` makes of it,
    where that is at hand.

    Raises ValueError for another shape or type. A picture of about 1000 px on its long side is enough; a
    larger one gives finer irises. The subject is the face with the largest box, weighed down by its distance
    from the middle.
    """
    if rgb.ndim != 3 or rgb.shape[2] != 3 or rgb.dtype != np.uint8 or min(rgb.shape[:2]) < 1:
        raise ValueError(f"find_faces wants uint8 (height, width, 3), not {rgb.dtype} {rgb.shape}.")
    rgb = np.ascontiguousarray(rgb)
    detected = False
    for spots, picture in _passes(rgb, half):
        detected = detected or bool(spots)
        faces: list[Face] = []
        for spot in spots[:_MOST_FACES]:
            face = _read_face(picture, spot)
            if face is not None and all(_overlap(face.box, other.box) < _SAME_FACE for other in faces):
                faces.append(face)
        if faces:
            return _finding(rgb, faces, half)
    if detected:
        return FaceFinding(None, (), told(Code.HEAD_WITHOUT_FACE))
    return FaceFinding(None, (), told(Code.NO_FACE))


def _passes(rgb: Pixels, half: Pixels | None) -> Iterator[tuple[list[Detection], Pixels]]:
    """Ways to look, cheapest first, each giving detections in the frame and the picture to read them from."""
    yield models.detect(rgb, half), rgb
    yield _detect_padded(rgb), rgb  # a face that fills the frame
    bright = float(np.percentile(rgb[::4, ::4], 99.5))
    if bright < _DARK:  # underexposed: lift it for looking
        lifted = cv2.convertScaleAbs(rgb, alpha=230 / max(bright, 1.0))
        yield models.detect(np.asarray(lifted, np.uint8)), np.asarray(lifted, np.uint8)
    yield _detect_tiled(rgb), rgb  # a small face in a full-length frame


def _detect_padded(rgb: Pixels) -> list[Detection]:
    pad = round(0.25 * max(rgb.shape[:2]))
    padded = cv2.copyMakeBorder(rgb, pad, pad, pad, pad, cv2.BORDER_CONSTANT)
    return [_shifted(spot, -pad, -pad) for spot in models.detect(np.asarray(padded, np.uint8))]


def find_small_faces(rgb: Pixels) -> FaceFinding:
    """As `find_faces`, for a large picture in a small copy of which no face was seen: looked through in tiles."""
    spots = _detect_tiled(np.ascontiguousarray(rgb), 4, 0.25)
    faces: list[Face] = []
    for spot in spots[:_MOST_FACES]:
        face = _read_face(rgb, spot)
        if face is not None and all(_overlap(face.box, other.box) < _SAME_FACE for other in faces):
            faces.append(face)
    return _finding(rgb, faces) if faces else FaceFinding(None, (), told(Code.NO_FACE))


def closer(face: Face, rgb: Pixels, scale: float) -> Face | None:
    """The same face read from a picture `scale` times as large as the one it was seen in, in that one's pixels.

    None when nothing is read at its place there.
    """
    seen = face.scaled(scale)
    x, y, w, h = seen.box
    reach = 1.5 * max(w, h)
    left, top = max(0, int(x + w / 2 - reach)), max(0, int(y + h / 2 - reach))
    part = np.ascontiguousarray(rgb[top : int(y + h / 2 + reach) + 1, left : int(x + w / 2 + reach) + 1])
    if min(part.shape[:2]) < 1:
        return None
    there = find_faces(part)
    for again in (there.face, *there.others):
        if again is not None and _overlap(again.moved(left, top).box, seen.box) > 0.5:
            return again.moved(left, top).scaled(1 / scale)
    return None


def _detect_tiled(rgb: Pixels, parts: int = 2, shared: float = 0.5) -> list[Detection]:
    """Detections in tiles of one `parts`-th of the long side, each sharing at least `shared` of it with the next."""
    height, width = rgb.shape[:2]
    side = max(height, width) // parts
    if side < 96:
        return []  # half of what the detector looks at: nothing to be gained
    detections: list[Detection] = []
    for top in _starts(height, side, shared):
        for left in _starts(width, side, shared):
            tile = np.ascontiguousarray(rgb[top : top + side, left : left + side])
            detections += [_shifted(spot, left, top) for spot in models.detect(tile)]
    return sorted(detections, key=lambda spot: -spot.score)


def _starts(length: int, side: int, shared: float = 0.5) -> list[int]:
    """Starts of tiles of `side` that cover `length` with at least `shared` of each lying in the next."""
    if length <= side:
        return [0]
    steps = math.ceil((length - side) / (side * (1 - shared)))
    return [round(i * (length - side) / steps) for i in range(steps + 1)]


def _shifted(spot: Detection, dx: float, dy: float) -> Detection:
    (x, y, w, h), a, b = spot.box, spot.image_left_eye, spot.image_right_eye
    return Detection((x + dx, y + dy, w, h), (a[0] + dx, a[1] + dy), (b[0] + dx, b[1] + dy), spot.score)


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> float:
    """Common area over the smaller box's area."""
    w = min(one[0] + one[2], other[0] + other[2]) - max(one[0], other[0])
    h = min(one[1] + one[3], other[1] + other[3]) - max(one[1], other[1])
    return max(0.0, w) * max(0.0, h) / max(1e-9, min(one[2] * one[3], other[2] * other[3]))


def _closer(rgb: Pixels, spot: Detection) -> Detection:
    """Look again at a small or strongly leaning face in an upright window of its own, up to three times.

    The detector is unsure of a lean over some 40°: each look turns the window by what the last one saw. The
    detection stays as it was when a look finds nothing.
    """
    for _ in range(3):
        angle = _lean(spot)
        x, y, w, h = spot.box
        if max(w, h) > _SMALL * max(rgb.shape[:2]) and abs(angle) < _STEEP:
            break
        patch, back = models.turned_square(rgb, (x + w / 2, y + h / 2), 4.0 * max(w, h), angle, 384)
        detections = [models.mapped(again, back) for again in models.detect(patch)]
        again = next((f for f in detections if _overlap(f.box, spot.box) > 0.5), None)
        if again is None:
            break
        settled = abs(math.remainder(_lean(again) - angle, math.tau)) < _SKEW
        spot = again
        if settled:
            break
    return spot


def _lean(spot: Detection) -> float:
    (ax, ay), (bx, by) = spot.image_left_eye, spot.image_right_eye
    return math.atan2(by - ay, bx - ax)


def _read_face(rgb: Pixels, spot: Detection) -> Face | None:
    """Mesh and irises of one detection; None when the mesh says there is no face, or the points make none."""
    spot = _closer(rgb, spot)
    angle = _lean(spot)
    x, y, w, h = spot.box
    centre, side = (x + w / 2, y + h / 2), 1.5 * max(w, h)
    for _ in range(_MOST_LOOKS):
        points, presence = models.mesh(rgb, centre, side, angle)
        if presence < _PRESENCE_FLOOR:
            return None
        outer = points[LEFT_CORNERS[1], :2] - points[RIGHT_CORNERS[0], :2]
        seen = math.atan2(outer[1], outer[0])
        if abs(math.remainder(seen - angle, math.tau)) < _SKEW:
            break
        centre, side, angle = _square_round(points, seen)  # the detector's eye line was wrong: strong roll
    else:
        return None
    eyes = models.irises(rgb, [(points[one], points[other]) for one, other in (RIGHT_CORNERS, LEFT_CORNERS)], angle)
    return _assemble(points, eyes, min(presence, spot.score), rgb.shape[:2])


def _square_round(points: Floats, angle: float) -> tuple[Point, float, float]:
    """Centre, side and angle of the mesh's input square round points already found."""
    cos, sin = math.cos(angle), math.sin(angle)
    along, across = points[:, 0] * cos + points[:, 1] * sin, -points[:, 0] * sin + points[:, 1] * cos
    u, v = (along.min() + along.max()) / 2, (across.min() + across.max()) / 2
    side = 1.5 * max(float(np.ptp(along)), float(np.ptp(across)))
    return (float(cos * u - sin * v), float(sin * u + cos * v)), side, angle


def _assemble(points: Floats, eyes: list[models.Iris], score: float, shape: tuple[int, ...]) -> Face | None:
    (right_lid, right, right_rim), (left_lid, left, left_rim) = eyes
    across = left - right
    distance = float(np.hypot(*across))
    corner_span = float(np.hypot(*(points[LEFT_CORNERS[1]] - points[RIGHT_CORNERS[0]])[:2]))
    middle = (right + left) / 2
    inside = bool(0 <= middle[0] < shape[1] and 0 <= middle[1] < shape[0])
    if not inside or distance < 0.3 * corner_span or across[0] <= 0:
        return None
    roll = math.atan2(across[1], across[0])
    flat = np.ascontiguousarray(points[:, :2].T)
    low, high = flat.min(axis=1), flat.max(axis=1)
    chin = points[CHIN, :2]
    corners_middle = (points[LEFT_CORNERS[1], :2] + points[RIGHT_CORNERS[0], :2]) / 2
    along = np.array([math.cos(roll), math.sin(roll)])
    yaw = float((points[NOSE_TIP, :2] - corners_middle) @ along) / (corner_span / 2)
    below = float(np.hypot(*(chin - middle)))
    # art anatomy: eyes at half the head's height [from memory]; the hair adds HAIR of that half
    crown_y = float(middle[1] - (1 + HAIR) * (chin[1] - middle[1]))
    return Face(
        box=(float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])),
        right_eye=_point(right),
        left_eye=_point(left),
        right_openness=_openness(right_lid),
        left_openness=_openness(left_lid),
        iris_radius_right=float(np.hypot(*(right_rim - right).T).mean()),
        iris_radius_left=float(np.hypot(*(left_rim - left).T).mean()),
        roll_deg=math.degrees(roll),
        crown_y=crown_y,
        crown_uncertainty=0.25 * below,
        crown_measured=False,
        chin=_point(chin),
        forehead=_point(points[FOREHEAD]),
        mouth=_point((points[UPPER_LIP] + points[LOWER_LIP]) / 2),
        yaw_hint=max(-1.0, min(1.0, yaw)),
        score=score,
        right_lid=tuple(_point(p) for p in right_lid.tolist()),
        left_lid=tuple(_point(p) for p in left_lid.tolist()),
        oval=tuple(_point(p) for p in points[list(_OVAL)].tolist()),
        features=features(points, math.degrees(roll)),
    )


def _point(p: Floats) -> Point:
    return float(p[0]), float(p[1])


def _openness(lid: Floats) -> float | None:
    """Mean lid height at three places over the lid's width."""
    width = float(np.hypot(*(lid[0] - lid[8])))
    if width <= 0:
        return None
    return float(np.mean([np.hypot(*(lid[a] - lid[b])) for a, b in ((3, 11), (4, 12), (5, 13))])) / width


def _with_crown(rgb: Pixels, face: Face, half: Pixels | None) -> Face:
    below = face.chin[1] - face.eye_middle[1]
    if below < face.eye_distance:
        return face  # the head lies on its side: rows of the picture say nothing about its top
    crown = crown_against_backdrop(rgb, face.eye_middle, face.eye_distance, face.forehead[1], below, half)
    if crown is None:
        return face
    return replace(face, crown_y=crown, crown_uncertainty=0.08 * below, crown_measured=True)


def _finding(rgb: Pixels, faces: list[Face], half: Pixels | None = None) -> FaceFinding:
    height, width = rgb.shape[:2]

    def weight(face: Face) -> float:
        x, y, w, h = face.box
        off = math.hypot((x + w / 2) / width - 0.5, (y + h / 2) / height - 0.5) / math.hypot(0.5, 0.5)
        return w * h * (1 - 0.6 * min(1.0, off))

    ranked = sorted(faces, key=weight, reverse=True)
    subject = _with_crown(rgb, ranked[0], half)
    if len(ranked) == 1:
        return FaceFinding(subject, (), told(Code.ONE_FACE))
    return FaceFinding(subject, tuple(ranked[1:]), told(Code.SEVERAL_FACES, faces=len(ranked)))
