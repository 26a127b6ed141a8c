"""Camera files for tests, painted small, once for each process."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from galleries.painter import PlannedFrame, SittingPlan, paint_frame, plan_sitting, write_frame

SEED = 7


@cache
def plan() -> SittingPlan:
    return plan_sitting(SEED)


@cache
def camera_file(index: int = 0, long_side: int = 900) -> tuple[str, bytes]:
    """(name, bytes) of one painted frame of the planned sitting."""
    frame: PlannedFrame = plan().frames[index]
    return frame.name, write_frame(plan(), frame, paint_frame(plan(), frame, long_side))


def put_card(folder: Path, count: int = 4, long_side: int = 900) -> list[Path]:
    """A card with the first `count` frames of the planned sitting."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for index in range(count):
        name, data = camera_file(index, long_side)
        paths.append(folder / name)
        paths[-1].write_bytes(data)
    return paths
