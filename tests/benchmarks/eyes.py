"""Accuracy of the eye centres on hand-marked studio portraits and on harder versions of them.

Portraits and marks: ../shared/data/portraits (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0).
Error: distance of an eye centre from its mark as a share of the distance between the marks.
"""

from __future__ import annotations

import argparse
import csv
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.face.faces import find_faces
from tests.benchmarks.figures import figure

PORTRAITS = Path(__file__).resolve().parents[3] / "shared" / "data" / "portraits"
CHINS = Path(__file__).resolve().parents[1] / "imaging" / "face" / "chins.csv"
Pixels = NDArray[np.uint8]
Marks = NDArray[np.float64]  # (2, 2): image-left and image-right pupil
Variant = Callable[[Pixels, Marks], tuple[Pixels, Marks]]


def portraits(folder: Path = PORTRAITS) -> Iterator[tuple[str, Pixels, Marks]]:
    """Name, picture and marks of every portrait."""
    with (folder / "pupils.csv").open() as table:
        for row in csv.DictReader(table):
            bgr = cv2.imread(str(folder / row["file"]))
            marks = np.array([[float(row[f"image_{s}_{a}"]) for a in "xy"] for s in ("left", "right")])
            yield row["file"], np.ascontiguousarray(bgr[:, :, ::-1]), marks


def chin_marks() -> dict[str, float]:
    """Of each portrait the y of the lowest point of the chin's outline, by hand (tests/imaging/face/test_chin.py)."""
    with CHINS.open() as table:
        return {row["file"]: float(row["menton_y"]) for row in csv.DictReader(table)}


def turned(degrees: float) -> Variant:
    def change(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
        height, width = rgb.shape[:2]
        matrix = cv2.getRotationMatrix2D(((width - 1) / 2, (height - 1) / 2), -degrees, 1.0)
        out = cv2.warpAffine(rgb, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)
        return out, marks @ matrix[:, :2].T + matrix[:, 2]

    return change


def grey(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    return np.repeat(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)[:, :, None], 3, axis=2), marks


def darkened(factor: float) -> Variant:
    return lambda rgb, marks: (np.rint(rgb * factor).astype(np.uint8), marks)


def half_lit(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """The picture-right half of the face falls to an eighth of the light."""
    x = np.arange(rgb.shape[1])
    light = 0.125 + 0.875 / (1 + np.exp((x - marks[:, 0].mean()) / (0.1 * np.ptp(marks[:, 0]))))
    linear = (rgb / 255.0) ** 2.2 * light[None, :, None]
    return np.rint(255 * linear ** (1 / 2.2)).astype(np.uint8), marks


def filling(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """Cropped so that the face fills the frame, brow to chin."""
    span = float(np.ptp(marks[:, 0]))
    cx, cy = marks.mean(axis=0)
    left, top = max(0, int(cx - 0.95 * span)), max(0, int(cy - 0.7 * span))
    right, bottom = int(cx + 0.95 * span), int(cy + 1.75 * span)
    return np.ascontiguousarray(rgb[top:bottom, left:right]), marks - (left, top)


def full_length(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """Small in a tall frame: the portrait takes a fifth of the height, as the head of a standing person does."""
    side = 380
    small = cv2.resize(rgb, (side, side), interpolation=cv2.INTER_AREA)
    canvas = np.empty((1900, 1267, 3), np.uint8)
    canvas[:] = np.median(rgb[:40], axis=(0, 1)).astype(np.uint8)
    canvas[60 : 60 + side, 420 : 420 + side] = small
    factor = side / rgb.shape[0]
    return canvas, (marks + 0.5) * factor - 0.5 + (420, 60)


def fringe(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """Dark hair painted over the brows."""
    span = float(np.ptp(marks[:, 0]))
    cx, cy = marks.mean(axis=0)
    out = rgb.copy()
    rng = np.random.default_rng(5)
    for x in np.linspace(cx - 1.1 * span, cx + 1.1 * span, 90):
        tip = (int(x + rng.normal(0, 0.04) * span), int(cy - (0.22 + 0.06 * rng.random()) * span))
        cv2.line(out, (int(x), int(cy - 1.25 * span)), tip, (46, 34, 28), max(2, int(0.035 * span)))
    return out, marks


def glasses(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """Dark frames with a reflection painted over the eyes."""
    span = float(np.hypot(*(marks[1] - marks[0])))
    out = rgb.copy()
    for x, y in marks:
        centre = int(x), int(y + 0.05 * span)
        cv2.ellipse(out, centre, (int(0.36 * span), int(0.27 * span)), 0, 0, 360, (25, 22, 20), int(0.045 * span))
        shine = out.copy()
        cv2.ellipse(shine, (int(x + 0.12 * span), int(y - 0.12 * span)), (int(0.14 * span), int(0.03 * span)),
                    25, 0, 360, (255, 255, 255), -1)  # fmt: skip
        out = cv2.addWeighted(out, 0.5, shine, 0.5, 0)
    ends = [tuple(int(v) for v in p) for p in (marks[0] + (0.34 * span, 0), marks[1] - (0.34 * span, 0))]
    cv2.line(out, ends[0], ends[1], (25, 22, 20), int(0.045 * span))
    return out, marks


def with_neighbour(rgb: Pixels, marks: Marks) -> tuple[Pixels, Marks]:
    """A second, smaller person at the side of a wide frame."""
    height, width = rgb.shape[:2]
    side = round(0.62 * height)
    canvas = np.empty((height, width + side, 3), np.uint8)
    canvas[:] = np.median(rgb[:40], axis=(0, 1)).astype(np.uint8)
    canvas[:, :width] = rgb
    canvas[height - side :, width:] = cv2.resize(rgb[:, ::-1], (side, side), interpolation=cv2.INTER_AREA)
    return canvas, marks


VARIANTS: tuple[tuple[str, Variant, float | None], ...] = (
    ("upright", lambda rgb, marks: (rgb, marks), 1.2),
    ("turned 18°", turned(18), 1.5),
    ("turned 30°", turned(30), 1.5),
    ("turned -30°", turned(-30), 1.5),
    ("black and white", grey, 1.5),
    ("darkened to 0.3", darkened(0.3), 1.5),
    ("half-lit", half_lit, 1.5),
    ("turned 60°", turned(60), None),
    ("darkened to 0.08", darkened(0.08), None),
    ("fills the frame", filling, None),
    ("full length", full_length, None),
    ("hair over the brow", fringe, None),
    ("glasses", glasses, None),
    ("two people", with_neighbour, None),
)


def errors(change: Variant, marked: list[tuple[str, Pixels, Marks]]) -> tuple[list[float], int, float]:
    """Errors in per cent of every eye found, portraits without a face, CPU milliseconds a frame."""
    values: list[float] = []
    missed, spent = 0, 0.0
    for _name, rgb, marks in marked:
        picture, truth = change(rgb, marks)
        start = time.process_time()
        face = find_faces(picture).face
        spent += time.process_time() - start
        if face is None:
            missed += 1
            continue
        span = float(np.hypot(*(truth[1] - truth[0])))
        for eye, mark in zip((face.right_eye, face.left_eye), truth, strict=True):
            values.append(100 * float(np.hypot(*(np.array(eye) - mark))) / span)
    return values, missed, 1000 * spent / len(marked)


def chin_errors(marked: list[tuple[str, Pixels, Marks]]) -> list[float]:
    """How far below the reading the outline is marked, in per cent of the head, of each portrait with a face."""
    truth = chin_marks()
    faces = [(truth[name], find_faces(rgb).face) for name, rgb, _eyes in marked]
    return [100 * (y - face.menton[1]) / (y - face.crown_y) for y, face in faces if face is not None]


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks eyes", description=__doc__)
    parser.add_argument("--folder", type=Path, default=PORTRAITS, help="portraits with a pupils.csv beside them")
    parser.add_argument("--count", type=int, default=0, help="portraits (default all)")
    options = parser.parse_args(argv)
    folder = options.folder
    if not (folder / "pupils.csv").is_file():
        print(f"There are no hand-marked portraits at {folder}; nothing was measured.")
        return 1
    cv2.setNumThreads(1)
    marked = list(portraits(folder))[: options.count or None]
    reached = True
    print(f"{'version':20} {'found':>9} {'mean %':>7} {'worst %':>8} {'to reach':>9} {'CPU ms':>7}")
    for name, change, bound in VARIANTS:
        values, missed, spent = errors(change, marked)
        mean, worst = (float(np.mean(values)), max(values)) if values else (float("nan"), float("nan"))
        reached &= bound is None or (missed == 0 and mean <= bound)
        figure(f"eye centres, {name}", mean, "%", most=bound)
        goal = f"<= {bound}" if bound else "-"
        print(f"{name:20} {len(marked) - missed:3} of {len(marked):2} {mean:7.2f} {worst:8.2f} {goal:>9} {spent:7.1f}")
    if folder == PORTRAITS:
        off = chin_errors(marked)
        print(f"chin's outline: off by {np.mean(np.abs(off)):.2f} % of the head, {np.mean(off):+.2f} % to one side")
        figure("chin's outline, of the head", float(np.mean(np.abs(off))), "%", most=2.0)
    print("All goals reached." if reached else "Some goals were missed.")
    return 0 if reached else 1
