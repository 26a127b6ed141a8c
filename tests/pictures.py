"""Camera files for tests, painted small, once for each process; in the test command once for the whole run."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import PIL
from numpy.typing import NDArray

from galleries import imaging, painter
from galleries.painter import PlannedFrame, SittingPlan, paint_frame, plan_sitting, write_frame

SEED = 7


@cache
def plan() -> SittingPlan:
    return plan_sitting(SEED)


@cache
def camera_file(index: int = 0, long_side: int = 900) -> tuple[str, bytes]:
    """(name, bytes) of one painted frame of the planned sitting."""
    frame: PlannedFrame = plan().frames[index]
    kept = kept_folder()
    file = kept and kept / f"{index}-{long_side}.jpg"
    if file is not None and file.is_file():
        return frame.name, file.read_bytes()
    data = write_frame(plan(), frame, paint_frame(plan(), frame, long_side))
    if kept is not None and file is not None:
        kept.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}.part")
        part.write_bytes(data)
        part.replace(file)
    return frame.name, data


def kept_pixels(name: str, paint: Callable[[], NDArray[np.uint8]]) -> NDArray[np.uint8]:
    """What `paint` paints, (h, w, 3); in the test command once for the whole run, under this name."""
    kept = kept_folder()
    file = kept and kept / f"{name}.npy"
    if file is not None and file.is_file():
        pixels: NDArray[np.uint8] = np.load(file)
        return pixels
    pixels = paint()
    if kept is not None and file is not None:
        kept.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}.part")
        with part.open("wb") as out:
            np.save(out, pixels)
        part.replace(file)
    return pixels


@cache
def kept_folder() -> Path | None:
    """Where a run keeps what it painted, named by all that has a part in a painted file; None: each process paints."""
    place = os.environ.get("TESTS_TABLES")
    if place is None:
        return None
    digest = hashlib.sha256(repr((SEED, cv2.__version__, np.__version__, PIL.__version__)).encode())
    for package in (painter, imaging):
        for source in sorted(Path(package.__path__[0]).rglob("*.py")):
            digest.update(source.read_bytes())
    return Path(place) / f"frames-{digest.hexdigest()[:24]}"


def put_card(folder: Path, count: int = 4, long_side: int = 900) -> list[Path]:
    """A card with the first `count` frames of the planned sitting."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for index in range(count):
        name, data = camera_file(index, long_side)
        paths.append(folder / name)
        paths[-1].write_bytes(data)
    return paths
