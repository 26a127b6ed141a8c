"""The strangers of a casting list: invented people painted once, in one picture of equal tiles.

    python -m galleries.painter.neighbours galleries/static/galleries/neighbours.jpg

A frame of a sitting is judged at the size of a stamp beside other people; these stand for them and are nobody.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from galleries.imaging.arrays import Pixels
from galleries.imaging.face.faces import find_faces
from galleries.imaging.framing.crops import propose
from galleries.imaging.framing.geometry import Ratio
from galleries.imaging.output.encode import encode_jpeg

from .picture import paint_frame
from .plan import PlannedFrame, plan_sitting

PEOPLE, ACROSS = 24, 6
TILE = (240, 300)  # width, height in px: the upright 4:5 of casting uploads
_FIRST_SEED = 901
_LONG_SIDE = 720


def _frame_of(seed: int) -> PlannedFrame:
    """One upright frame with open eyes of the sitting of that number, of another look from person to person."""
    frames = [one for one in plan_sitting(seed).frames if one.lids > 0.5 and not one.wide and not one.soft]
    return frames[(seed * 11) % len(frames)]


def paint_tile(seed: int) -> Pixels:
    """One person as a casting crop, RGB uint8 of `TILE`."""
    pixels = paint_frame(plan_sitting(seed), _frame_of(seed), _LONG_SIDE)
    height, width = pixels.shape[:2]
    rect = propose(width, height, find_faces(pixels).face, Ratio(*TILE)).rect
    part = pixels[rect.y : rect.bottom, rect.x : rect.right]
    return np.asarray(cv2.resize(part, TILE, interpolation=cv2.INTER_AREA), np.uint8)


def paint_all(people: int = PEOPLE) -> NDArray[np.uint8]:
    """All tiles, `ACROSS` in a row."""
    tiles = [paint_tile(_FIRST_SEED + n) for n in range(people)]
    rows = [np.hstack(tiles[at : at + ACROSS]) for at in range(0, people, ACROSS)]
    return np.vstack(rows)


if __name__ == "__main__":
    Path(sys.argv[1]).write_bytes(encode_jpeg(paint_all(), quality=80, progressive=True))
